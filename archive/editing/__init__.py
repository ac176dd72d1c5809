"""Decisions of people, checked against catalogue and engine, and stated in the journal."""
