"""The questions a caster asks: design, check, give and take, why, why not, how many of what by when."""
