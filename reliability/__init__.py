"""Reliability of fused and sectionalized laterals on electric distribution feeders."""

__version__ = "0.2.0"
