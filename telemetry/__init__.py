"""Reciprocal's library: logs in, passes and judged two-way averages out.

No web code lives here; everything can be used from a notebook. The one entry point that runs the whole
chain is :func:`telemetry.analysis.analyse`.
"""

__version__ = "0.1.0"
