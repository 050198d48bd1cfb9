"""What is held against a mix, whoever proposed it: limits, chances, evidence, rules of mixing, cautions."""
