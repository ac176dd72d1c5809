"""Bytes on volumes: durable writes, digests, masters, journal files, locks.

Every write that must survive goes through a :class:`archive.store.ports.Disk`.
"""
