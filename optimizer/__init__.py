"""Design, check and cost cast candle-vessel blends; see README.md for the job it does."""
