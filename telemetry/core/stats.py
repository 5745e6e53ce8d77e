"""Constants of the normal distribution that every interval uses."""

from __future__ import annotations

from typing import Final

Z95: Final = 1.959963984540054
"""Two-sided 95 % point of the standard normal distribution (NIST/SEMATECH e-Handbook, 1.3.6.7.1)."""
