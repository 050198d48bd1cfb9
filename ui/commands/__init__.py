"""The commands of ``vesselblend``, one module each; heavy imports wait inside them, so help comes at once."""
