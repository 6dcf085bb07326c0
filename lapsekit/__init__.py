"""lapsekit: one season's plants, seed to harvest, captured, measured, shown and filmed."""

__version__ = "0.1.0"
