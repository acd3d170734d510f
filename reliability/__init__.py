"""Reliability of fused and sectionalized laterals on electric distribution feeders."""

__version__ = "0.1.0"
