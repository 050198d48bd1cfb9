"""Trust: random jobs, nonsense, faults and load, judged from outside the engine."""
