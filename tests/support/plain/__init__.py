"""Slow, plain versions of what the engine's passes do, in float64 and whole planes at a time.

They share no code and no number with the engine: whoever changes a constant or a branch of a pass has to
change it here, too. What a recipe says (operators and their values) and what a frame is (``Decoded``) are
common ground.
"""
