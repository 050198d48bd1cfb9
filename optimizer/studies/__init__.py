"""The questions a caster asks: design, check, trade-offs, why, why not, how many of what by when."""
