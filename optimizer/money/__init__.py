"""Money, molds and dates: what one good vessel costs and when an order ships."""
