"""The trial book and the measurements a studio can make."""
