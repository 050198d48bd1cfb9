"""What a studio's own trials say about the figures: update, record, doubt left, and the next trial."""
