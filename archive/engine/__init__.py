"""Pixels: master bytes in, finished pictures or encoded bytes out; no paths of the archive, no SQL.

``operator`` is what can be decided about a frame, ``decode`` turns a master's bytes into scene data in
processes of their own, ``pipeline`` develops that with an effective recipe, ``output`` encodes the result.
"""
