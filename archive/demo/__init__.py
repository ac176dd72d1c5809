"""A simulated night: the sky over a frozen river, two cameras, and the cards they would bring home.

``scene`` is what stands still, ``sky`` and ``aurora`` what moves, ``picture`` puts them together. ``night``
says who photographs it when, ``sensor`` turns light into numbers, ``rawfile`` and ``lossless`` into real DNG
files, ``extras`` adds what else lies on cards, and ``cards`` writes it all. ``radiometry`` holds the photons
that it rests on, ``mishaps`` what may go wrong, ``truth`` what a test may know. ``story`` plays the night,
``gallery`` and ``strip`` show pictures. Everything is invented, and the same request always gives the same
bytes.
"""
