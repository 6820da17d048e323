"""Measurements, each against a plain floor in the same run: ``python -m tests.bench``."""
