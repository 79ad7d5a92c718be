"""An empty season folder that explains itself."""

from __future__ import annotations

from pathlib import Path

from stagecast.base.savefile import new_folder
from stagecast.knowledge.units import UNITS
from stagecast.season.settings.settings import FIRST_YEAR, LAST_YEAR
from stagecast.season.settings.telling import PASSWORD
from stagecast.season.settings.work import EXAMPLE_HOME, SETTINGS_FILE
from stagecast.season.tables.fields import COLUMNS, FIELDS_FILE, OPTIONAL_COLUMNS

STATION_COLUMNS = ("station", "latitude", "longitude", "elevation_m", "name")

_SETTINGS = """\
# Settings of one season. A line that starts with # is a remark.
# Text stands in straight quotes, numbers do not.

# The year of the season. Every date in the other files lies in it.
year = {year}

# What screens and files show: "us" (acres, miles, degrees Fahrenheit) or "metric".
units = "us"

# Your state: its two letters, or its name. It decides which thresholds and texts apply.
region = "TN"

# The days on which you scout.
working_days = ["mon", "tue", "wed", "thu", "fri"]

# The most fields that a scout walks in a day; without it the hours alone decide.
# fields_per_day = 8

# Your home base, in decimal degrees; west of Greenwich is negative.
# The point below is arbitrary. CHANGE IT to your own.
[home]
latitude = {home[0]}
longitude = {home[1]}

# Your name and telephone, as they shall stand on pages and letters for growers.
[consultant]
# name = "Consultant A"
# phone = "555-0100"

[weather]
# Where daily temperatures come from:
# "station csv" reads your own files in the folder weather; "meteostat" asks a public service.
source = "station csv"

# What happens when a station has no temperatures for some days:
# "bridge" fills short gaps and says so; "refuse" stops and names the gap.
gap_policy = "bridge"

# The longest gap to bridge, in days, 0 to 7. Remove the # to set your own.
# bridge_days = 3

# How many past seasons stand in for the weather to come, 1 to 60. Remove the # to set your own.
# past_seasons = 10

# How long a field may stay without a look, in days: while a critical window is open (the seedling
# weeks, bloom to full seed), and at other times. A field at its limit must be walked.
# between_days is for the weeks from the seedlings to R1: a field rests so long there unless
# something was found, 5 to 14. It is your own choice: extension texts say weekly all season.
[visits]
# longest_gap_critical_days = 10
# longest_gap_days = 14
# between_days = 10

# Looks besides insects that are told with a field, each from its own stage on; false turns one off.
[looks]
# stand = true
# herbicide = true
# leaf_disease = true
# fungicide = true
# tissue = true
# nematodes = true
# irrigation = true
# harvest_aid = true
# frost = true
# stem_borer = true
# harvest = true

# What follows is for the week's route. Remove the # in front of what is different for you; what
# stands there is what is taken otherwise.

# Your working day: when you leave home at the earliest and are back at the latest, when you have
# lunch, and for how many minutes (0 for none). "1:30 pm" is read like "13:30".
# minutes_per_set is for 25 sweeps, minutes_per_field for all besides the sets and the walk, such as
# parking and notes. Without them five visits with their times of arriving teach yours.
[hours]
# starts = "07:00"
# ends = "16:00"
# lunch = "12:00"
# lunch_min = 30
# minutes_per_set = 6
# minutes_per_field = 8

# Driving, where travel.csv does not know a way: the straight line times road_factor, at this
# speed. In kilometres an hour instead: speed_kmh = 72.
[driving]
# speed_mph = 45
# road_factor = 1.3

# Dollars: what a bushel brings, what a treatment costs an acre (a few states give thresholds by
# both; without both their figure for all prices is shown), how many bushels you expect of an acre,
# and what a mile and an hour of driving cost. For a kilometre instead of a mile: per_km = 0.45.
[money]
# bean_price = 10.0
# control_cost = 15.0
# expected_yield = 50
# per_mile = 0.725
# per_hour = 30

# What `stagecast today` and `stagecast alerts` tell ahead: within how many days (coming_days:
# stages, pests and re-entry; bloom_days and bloom_chance: full bloom, and how likely it must be;
# window_days; pest_days; gap_days: the longest gap), how many days a forecast must move to be told
# (moved_days, shift_days), and for how many days a count is told (lapse_days).
# In quiet hours nothing is sent; it waits in outbox.json. Both alike: no quiet hours.
# command is a program, of this folder or of the system, that gets new alerts as JSON on its
# standard input, with `stagecast daily`; without it none is run.
[alerts]
# coming_days = 5
# moved_days = 2
# bloom_days = 6
# bloom_chance = 0.5
# window_days = 3
# pest_days = 5
# gap_days = 2
# shift_days = 5
# lapse_days = 10
# quiet_from = "20:00"
# quiet_to = "5:00"
# command = ["notify.sh"]

# New alerts by mail, sent by `stagecast daily`. Remove the # below and set your own. to is a list
# of addresses, or addresses by scout, each with its own day on top, and "all" for all of them,
# such as {{ "Scout A" = "a@example.org", "all" = "me@example.org" }}.
# Where the server asks for a user, put the password into the environment, as {password};
# it stands in no file. Leave out user where it asks for none.
# [mail]
# server = "mail.example.org"
# port = 587
# user = "me"
# from = "me@example.org"
# to = ["me@example.org"]

# More than one scout, or one with another name, days, hours or home. Remove every # below and
# set your own; repeat the section for each scout. Only the name is needed: other lines may be
# left out, and are then as above.
# [[scouts]]
# name = "Scout A"
# working_days = ["mon", "tue"]
# starts = "06:30"
# ends = "15:00"
# lunch = "11:30"
# lunch_min = 30
# home = {{ latitude = 36.1, longitude = -88.9 }}

# Treatment thresholds of your own. They come before the published ones and are shown as "yours".
# Remove every # below and set your own; repeat the section for another pest or another stage.
# This one reads: 5 bugs per 15 sweeps from R3 to R6. V4 also stands for later nodes. Counted of
# {units}. Where your threshold
# is a range, add its upper end as high = 8.
# [[thresholds]]
# pest = "stink-bugs"
# first = "R3"
# last = "R6"
# value = 5
# what = "bugs"
# per = 15
# of = "sweeps"
# Where it holds for some fields only, these say for which; delete what you do not need.
# planted_from = {{ month = 4, day = 1 }}
# planted_before = {{ month = 7, day = 15 }}
# use = ["grain", "seed"]
# row_width_least_in = 10
# row_width_most_in = 30
# condition = "anything else, in words"
"""

_README = """\
This folder holds one season: {year}. Edit its files with a spreadsheet or a text editor and save
them under the same names, tables as "CSV UTF-8".

season.toml
    Year, units, state, working days, home, weather, hours, driving, money, alerts, mail, scouts
    and thresholds of your own. Every line is explained in the file.

fields.csv: one line per field
    field_id        a short name of your own, different for every field, up to 64 characters
    grower          text, may be blank
    field_name      text, may be blank
    latitude        decimal degrees, such as 35.9254
    longitude       decimal degrees, such as -89.7012 (west is negative)
    area_acres      acres; or name the column area_ha and give hectares
    planting_date   2026-05-04, or month/day/year such as 5/4/2026; blank until it is planted
    maturity_group  such as IV, 4, 4.7, 00.5, MG IV or late IV
    growth_habit    indeterminate or determinate; blank takes what is usual for the group
    notes           text, may be blank
    These columns may be blank or left out:
    emergence_date  the day the field emerged, once you have seen it
    station         the weather station to use, instead of the nearest
    elevation_m     metres above sea level
    planned         the day on which it is expected to be planted
    replanted       the day on which it was planted again; what was seen before no longer counts
    state           where the field lies, if not in the state of season.toml
    use             grain, seed or food
    row_width_in    inches from row to row
    irrigated, no_till, wooded_edge
                    yes or no
    longest_gap_days
                    most days without a look at this field, 3 to 60, instead of the season's

visits.csv: optional, one line per visit
    field_id        as in fields.csv
    date            the day of the visit
    pressure        near threshold, some, or virtually none; may be blank where a stage is given
    stage           optional: the growth stage seen, VE, VC, V1 and on, R1 to R8; the forecast
                    learns from it
    share_percent   optional: percent of plants in that stage or beyond

pests/NAME.toml: optional, one file per pest of your own, in the shape of those that ship with
    stagecast (folder knowledge/pests of the program); one with the id of a pest that ships takes
    its place

traps.csv: optional, one line per check of a trap, of past years too
    trap            a name of your own for the trap; a column called station is read too
    date            the day of the check
    pest            such as corn earworm
    catch           insects caught since the check before; 0 for an empty trap
    what            optional: first eggs or first adults, where you saw them yourself
    latitude, longitude
                    optional: where the trap stands; else at the weather station of its name

blocked.csv: optional, one line per time in which nobody may enter a field
    field_id        as in fields.csv
    first_date      the first day
    last_date       the last day; blank for one day
    from_time, to_time
                    on each of these days, such as 8:00 and 13:30 or 1:30 pm; both blank for
                    the whole day
    why             text, may be blank

boundaries.geojson: optional, written by `stagecast fields`: the outlines of fields, for maps

travel.csv: optional, one line per way between two places, for the week's route
    from, to        home, a field_id as in fields.csv, or the name of a scout in season.toml for
                    where that scout lives
    minutes         of driving
    km              by road; or name the column miles and give miles
    A line stands for the way back too, unless that has a line of its own. Ways that are not here
    are estimated.

weather: your own station files, when season.toml says "station csv"
    stations.csv    one line per station: station (its id), latitude, longitude,
                    elevation_m and name (the last two may be blank)
    ID.csv          one file per station, named after its id: date and tmin_c, tmax_c in degrees
                    Celsius, or tmin_f, tmax_f in degrees Fahrenheit; a blank cell is a missing day

Tables may be separated by commas, semicolons or tabs. Numbers use a decimal point; a decimal
comma is read only where semicolons separate the cells.
"""


def write_new_season(path: Path, *, year: int) -> list[Path]:
    """Write an empty, valid and explained season folder.

    Parameters
    ----------
    path: A folder that does not exist yet, or is empty.
    year: the season.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    StoreError
        When anything is there already, or the folder cannot be written. Nothing that was there
        is touched, and nothing half written stays.
    ValueError
        When the year is not one a season can have.
    """
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(f"the year of a season is {FIRST_YEAR} to {LAST_YEAR}, not {year}")
    texts = {
        SETTINGS_FILE: _SETTINGS.format(
            year=year, home=EXAMPLE_HOME, units=_units(), password=PASSWORD
        ),
        FIELDS_FILE: ",".join((*COLUMNS, *OPTIONAL_COLUMNS)) + "\n",
        "weather/stations.csv": ",".join(STATION_COLUMNS) + "\n",
        "README.txt": readme_text(year),
    }
    with new_folder(path) as folder:
        for name, text in texts.items():
            file = folder / name
            file.parent.mkdir(exist_ok=True)
            file.write_text(text, encoding="utf-8", newline="\n")
    return [path / name for name in texts]


def readme_text(year: int) -> str:
    """What a season folder says of its files."""
    return _README.format(year=year)


def _units() -> str:
    """The units that a threshold may be counted in, as a list in a sentence."""
    *most, last = UNITS
    return f"{', '.join(most)} or {last}"
