"""Does casting lead to a good blend? Invented studios whose truth follows laws of their own."""
