"""A pest of a consultant's own, invented."""

MINER = """\
id = "leaf-miner"
name = "invented leaf miner"
short = "leaf miner"
scientific = ["Inventus minor"]
damage = "winding mines in leaves (invented)"
marks = ["pale winding lines in a leaf"]
not_timed = "it was invented for a test"

[presence]
kind = "overwinters"
text = "in tests"
source = "county-trial"
tag = "READ"

[host]
first = "V1"
last = "R7"
source = "county-trial"
tag = "READ"

[[activities]]
id = "mines"
rank = 1
title = "mines in leaves"
look_for = "winding lines, held against the light"
sample = "sweep-net"
host = { first = "V1", last = "R7", source = "practice", tag = "PRACTICE" }

[[thresholds]]
region = "TN"
first = "V1"
last = "R3"
value = 7
what = "mines"
of = "plants"
source = "county-trial"
tag = "READ"

[[thresholds]]
region = "TN"
first = "R3"
last = "R7"
value = 9
what = "mines"
of = "plants"
source = "county-trial"
tag = "READ"

[sources.county-trial]
title = "Leaf miner counts (invented)"
publisher = "nobody"
kind = "extension"
"""
