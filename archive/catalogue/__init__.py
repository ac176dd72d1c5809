"""A rebuildable index over hash lists and journal; never the truth.

It is kept in the user's cache directory. Delete it, and the next command builds it anew from the volumes.
"""
