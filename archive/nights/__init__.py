"""When and under which sky: capture times, sequences, sun and moon. Pure functions of what they are given."""
