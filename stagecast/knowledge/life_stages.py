"""Words by which people tell life stages apart, in what they typed of a count or a threshold."""

from __future__ import annotations

import re

NEVER = re.compile(r"\b(eggs?|pupa|pupae|cocoons?|dead|diseased|mummy|mummies)\b")
SMALL = re.compile(r"\b(small|medium|tiny|young|early|hatchlings?|under|below)\b")
GROWN = re.compile(r"\b(adults?|moths?|beetles?)\b")
YOUNG = re.compile(r"\b(larvae|larva|worms?|caterpillars?|grubs?|nymphs?)\b")
LARGE = re.compile(r"\b(large|big|late|grown|or more|and (over|up|more)|over|above)\b")
"""To be looked for in casefolded text."""
