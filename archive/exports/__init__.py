"""From frames and recipes to files that leave the house, and back from any file to what it was made of."""
