"""Bytes to model objects and back, one module for each written format.

FORMATS.md in this package is normative: a stranger could write a second reader from it. Nothing here
opens a file.
"""
