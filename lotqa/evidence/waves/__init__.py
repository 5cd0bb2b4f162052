"""Waves along the filament: how long, how high, how sure, and what they do to a printed wall."""
