"""The words of the archive as frozen, keyword-only dataclasses.

Nothing here reads or writes anything; everything else speaks in these types.
"""
