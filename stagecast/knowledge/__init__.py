"""Every agronomic number, with its unit, source and provenance; and the models that read it."""

from stagecast.knowledge.loader import load
from stagecast.knowledge.rules import Knowledge

__all__ = ["Knowledge", "load"]
