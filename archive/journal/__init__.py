"""The edit journal: immutable entries, what they add up to, and the intents that become entries."""
