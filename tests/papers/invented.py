"""Two invented jobs for the papers: a builder's van with doors, and a saloon of 1972 in mono."""

from functools import cache

import conewright as cw
from conewright.job.builds.job import Job

VAN = """
format = 1

[job]
title = "Builder's van: right door torn, wants both fronts new"
opened = 2026-05-04
currency = "EUR"
hour_rate = 42
complaints = ["buzz-one-corner@door-fr"]

[vehicle]
name = "Builder's van"
built = 2006
class = "van"
battery = { capacity = "70 Ah", rest_voltage = "12.6 V" }
restraints = { curtain = "none", door_sensor = "none" }

[[seat]]
id = "driver"
ear = ["0.55 m", "0.42 m", "1.25 m"]

[head_unit]
name = "radio as built"
output = "bridge"
supply = "14.0 V"
minimum_load = "4 ohm"

[[channel]]
id = "front-left"
cable = { length = "3.5 m", size = "0.5 mm2" }
load = "door-fl"

[[channel]]
id = "front-right"
cable = { length = "4.2 m", size = "0.5 mm2" }
load = "door-fr"

[[location]]
id = "door-fl"
name = "front left door"
kind = "door"
at = ["0.95 m", "0.82 m", "0.35 m"]
driver = "built-165"

[location.mount]
cutout = "148 mm"
screws = { count = 3, circle = "172 mm", angle = "90 deg", diameter = "4 mm" }
land = "25 mm"
steel = "0.8 mm"
glass_depth = ["62 mm ± 3 mm", "61 mm ± 3 mm", "63 mm ± 3 mm"]
trim_gap = "26 mm ± 1.5 mm"
ring = true

[location.cavity]
volume = "45 L ± 8 L"
drains = "6 cm2"
panel_holes = "20 cm2"

[location.trim]
volume = "6 L"
grille_area = "110 cm2"

[[location]]
id = "door-fr"
name = "front right door"
like = "door-fl"
at = ["0.95 m", "-0.82 m", "0.35 m"]

[[driver]]
id = "built-165"
name = "165 mm cone as built"
size = "165 mm"
age = "ageing"
rated_impedance = "4 ohm"
frame = { depth = "59 mm", cutout = "146 mm", outer = "180 mm", front_height = "6 mm", \
screws = { count = 3, circle = "172 mm", angle = "90 deg" } }

[[driver]]
id = "new-165"
name = "165 mm coaxial"
size = "165 mm"
age = "new"
rated_impedance = "4 ohm"
price = 70
frame = { depth = "55 mm", cutout = "144 mm", outer = "167 mm", front_height = "7 mm", \
screws = { count = 4, circle = "156 mm" } }

[[proposal]]
id = "new-fronts"
name = "both front drivers new, on an adapter ring"

[proposal.set]
"door-f?.driver" = "new-165"
"door-f?.mount.spacer" = "6 mm"
"""

SALOON = """
format = 1

[job]
title = "Saloon of 1972: faint and torn, one loudspeaker in the dash"
opened = 2026-06-01
currency = "EUR"
hour_rate = 45
complaints = ["buzz-one-corner@dash"]

[vehicle]
name = "Four-door saloon"
built = 1972
class = "saloon"
battery = { capacity = "44 Ah" }
restraints = { curtain = "none", door_sensor = "none" }

[[seat]]
id = "driver"
ear = ["0.2 m", "0.36 m", "1.1 m"]

[head_unit]
name = "mono radio as built"
output = "common-ground"

[[channel]]
id = "mono"
cable = { length = "0.8 m", size = "0.75 mm2" }
load = "dash"

[[location]]
id = "dash"
name = "middle of the dash"
kind = "dash"
at = ["0.9 m", "0 m", "0.85 m"]
driver = "built-100"

[location.mount]
cutout = "92 mm"
screws = { count = 4, circle = "112 mm", angle = "45 deg" }
glass_depth = ["75 mm ± 2 mm"]
trim_gap = "14 mm ± 1.5 mm"

[[driver]]
id = "built-100"
name = "100 mm cone as built"
size = "100 mm"
age = "ageing"
rated_impedance = "4 ohm"

[[driver]]
id = "new-100"
name = "100 mm cone, cloth surround"
size = "100 mm"
age = "new"
rated_impedance = "4 ohm"
price = 25
frame = { depth = "48 mm", cutout = "92 mm", outer = "108 mm", front_height = "5 mm", \
screws = { count = 4, circle = "112 mm", angle = "45 deg" } }

[[proposal]]
id = "new-cone"
name = "another cone in the old place"

[proposal.set]
"dash.driver" = "new-100"
"""


@cache
def van() -> Job:
    """The builder's van: two doors, and a new driver whose screws lie elsewhere."""
    return cw.loads(VAN)


@cache
def saloon() -> Job:
    """The saloon of 1972: one loudspeaker in the dash, mono."""
    return cw.loads(SALOON)
