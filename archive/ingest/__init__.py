"""From a card to verified masters: enumerate, classify, place, copy, read back, record."""
