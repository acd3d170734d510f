"""The sentence that stands wherever somebody reads a figure."""

CAUTION = ("Planning estimates, not settings: protection settings, switching and live-line work follow the "
           "utility's procedures, local codes and licensed engineers.")
