"""The people of the invented town as the company's client list knows them, and edges walked on foot."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from town_plan import Lot

TOWN = "Quillbrook"
STATE_AND_ZIP = "NE 68299"
"""Of no post office: ZIP codes in Nebraska leave 682 out (from memory, no source)."""
GIVEN = (
    "Adaeze", "Ambrose", "Anneke", "Beatriz", "Bertil", "Calla", "Cormac", "Dagny", "Delphine", "Emeka",
    "Esperanza", "Farida", "Florian", "Gwenda", "Hassan", "Hiroko", "Ignacio", "Ilse", "Jarmila", "Jubal",
    "Kalinda", "Katarzyna", "Lark", "Leopold", "Lien", "Magnolia", "Marisol", "Minh", "Nadia", "Nils",
    "Odalys", "Orrin", "Paloma", "Priya", "Quentin", "Rafaela", "Rosalind", "Samir", "Solveig", "Tadeo",
    "Thora", "Ulla", "Vesna", "Waldo", "Winifred", "Xiomara", "Yusuf", "Zelda",
)  # fmt: skip
FAMILY = (
    "Abernell", "Adeyoku", "Ashgrover", "Birkenfold", "Brindlemeyer", "Castaverde", "Chowdhavan", "Corrigane",
    "Dambrowicz", "Del Montero", "Eastermann", "Elkjord", "Fennimark", "Fujisato", "Garrowby", "Goldenpfeil",
    "Haldorsund", "Hollenbach", "Ibekwara", "Janoszek", "Kettlewick", "Kowalinski", "Lindqvall", "Lopatek",
    "Marchbanker", "Mendozal", "Nakagishi", "Nguyenthal", "Oakenshaw", "Olmosar", "Pellerine", "Pruittsen",
    "Quarrington", "Rasmuskov", "Rutherglade", "Sandovale", "Schraderlin", "Tamakiro", "Thistlewood", "Tranvale",
    "Underhall", "Vasquelle", "Vandermoor", "Wexcombe", "Winterbach", "Yarborne", "Zapatero-Lind", "Zielonka",
)  # fmt: skip
ROUTES = {
    "south": ("South", "Monday"), "north": ("North", "Tuesday"), "tract": ("East", "Wednesday"),
    "curve": ("Ridge", "Thursday"), "edge": ("North", "Tuesday"), "acre": ("County", "Friday"),
}  # fmt: skip
NEW_TRACT_YEAR = 2017
"""When the first house of the new streets round the curve was built."""
# what the list says of single clients, by place in the list
FLAGS = {
    "renter": (11, 57), "past_due": (23, 88), "do_not_call": (42,),
    "bought_before": (2, 9, 19, 34, 49, 62, 71, 77, 95, 104, 112),
}  # fmt: skip
CONTACTS = {
    4: "2026-01-19",
    15: "2026-02-02",
    33: "2026-02-11",
    58: "2026-02-23",
    75: "2026-03-02",
    101: "2026-03-09",
}
NOTES = {
    1: "asks for the gate to be closed", 9: "liked the bed along the drive", 14: "grass at the curb browns every July",
    23: "pays by check, late", 42: "asked in writing not to be called", 44: "edge at the walk is all dandelions",
    52: "dog in the back yard", 66: "drive is wider at the street", 62: "new drive being poured in spring",
    80: "wants less trimming along the house", 97: "mows the back herself",
}  # fmt: skip
ON_FOOT = (
    ("411 Harrow Street", (180.0, 712.0), (("curb", 62, "", 19, "drive 16, walk 3"), ("house", 38, "", 4, ""))),
    ("419 Harrow Street", (240.0, 712.0), (("curb", 58, 5.5, 17, "narrow strip"), ("sidewalk", 58, "", 17, "lawn side"))),
    ("427 Harrow Street", (300.0, 712.0), (("house", 44, 18, 5, "front"), ("house", 30, 6, 0, "south side, fence"))),
    ("6 Ferry Lane", None, (("curb", 96, "", 24, "corner, both streets"), ("house", 52, "", 4, "front"))),
    ("14 Ferry Lane", None, (("curb", 71, 12, 20, "hydrant near the drive"),)),
    ("22 Ferry Lane", (720.0, 716.0), (("sidewalk", 54, 22, 12, ""), ("house", 36, 22, 4, "front, downspout"), ("drive", 40, "", 0, "left side"))),
)  # fmt: skip
COLUMNS = (
    "client_id", "name", "address", "parcel_id", "lon", "lat", "phone", "email", "route", "mow_day", "stop",
    "client_since", "visits_per_year", "annual_usd", "frontage_ft", "mowed_ft2", "sprinklers", "hoa", "renter",
    "past_due", "bought_before", "do_not_call", "last_contact", "notes", "mailing_address", "year_built", "dog",
)  # fmt: skip

Row = tuple[str, Lot, float]
ToDegrees = Callable[[list[shapely.Geometry]], gpd.GeoSeries]


def describe_clients(rows: list[Row], *, seed: int, to_degrees: ToDegrees) -> pd.DataFrame:
    """
    Write the client list.

    Parameters
    ----------
    rows
        Id, lot and turf [ft2] of each client who has an outline.
    seed
        Number that fixes names, phones and prices.
    to_degrees
        Turns shapes of the town's plane into longitude and latitude.

    Returns
    -------
    clients
        The columns of ``clients.csv`` and one of the company's own, all ready to print.
    """
    chance = np.random.default_rng([seed, 9])
    names = _names(chance, len(rows) + len(ON_FOOT))
    points = to_degrees([lot.outline.representative_point() for _, lot, _ in rows])
    people = []
    for place, (client_id, lot, turf_ft2) in enumerate(rows):
        where = (f"{points.x.iloc[place]:.6f}", f"{points.y.iloc[place]:.6f}")
        person = _person(place, names[place], chance, turf_ft2)
        facts = _lot_facts(lot, place, chance)
        if facts["year_built"]:
            # nobody was a client at a house before it stood
            facts["year_built"] = min(facts["year_built"], int(str(person["client_since"])[:4]))
        people.append(person | facts | {"client_id": client_id, "lon": where[0], "lat": where[1]})
    for n, (address, spot, _) in enumerate(ON_FOOT):
        place = len(rows) + n
        point = None if spot is None else to_degrees([shapely.Point(spot)]).iloc[0]
        people.append(_person(place, names[place], chance, 0.0) | {
            "client_id": f"C{place + 1:04d}", "address": f"{address}, {TOWN}", "parcel_id": "", "frontage_ft": "",
            "lon": "" if point is None else f"{point.x:.6f}", "lat": "" if point is None else f"{point.y:.6f}",
            "route": "North", "mow_day": "Tuesday", "hoa": "", "year_built": "",
        })  # fmt: skip
    clients = pd.DataFrame(people)
    return clients.assign(
        stop=clients.groupby("route").cumcount() + 1,
        mailing_address=clients["address"] + f", {STATE_AND_ZIP}",
    )[list(COLUMNS)]


def walk_lots(clients: pd.DataFrame) -> pd.DataFrame:
    """Write the edges that crews walked with a measuring wheel, for the last clients of the list."""
    ids = clients["client_id"].tail(len(ON_FOOT))
    rows = [
        (client_id, *edge)
        for client_id, (_, _, edges) in zip(ids, ON_FOOT, strict=True)
        for edge in edges
    ]
    return pd.DataFrame(
        rows, columns=["client_id", "along", "length_ft", "room_ft", "openings_ft", "note"]
    )


def _names(chance: np.random.Generator, count: int) -> list[tuple[str, str]]:
    pairs = [(given, family) for given in GIVEN for family in FAMILY]
    return [pairs[i] for i in chance.permutation(len(pairs))[:count]]


def _person(
    place: int, name: tuple[str, str], chance: np.random.Generator, turf_ft2: float
) -> dict[str, object]:
    given, family = name
    visits = int(chance.choice([26, 28, 28, 30]))
    per_visit = 32 + turf_ft2 / 1000 * 4.2 if turf_ft2 else 42
    mowed_ft2 = 50 * round(turf_ft2 * chance.uniform(0.93, 1.07) / 50)
    plain = family.lower().replace(" ", "")
    flags = {
        flag: "yes" if place in places else ("no" if flag == "bought_before" else "")
        for flag, places in FLAGS.items()
    }
    return {
        "name": f"{given} {family}",
        "phone": f"{308 if place < 99 else 402}-555-{101 + place % 99:04d}",
        "email": f"{given.lower()}.{plain}@example.{'org' if place % 4 == 1 else 'com'}"
        if place % 9
        else "",
        "client_since": f"{chance.integers(2008, 2026)}-{chance.choice(['03-15', '04-01', '05-10'])}",
        "visits_per_year": visits,
        "annual_usd": round(visits * per_visit, 2),
        "mowed_ft2": mowed_ft2 if mowed_ft2 and place % 11 != 5 else "",
        "sprinklers": str(chance.choice(["yes", "no", "unknown", ""], p=[0.45, 0.3, 0.15, 0.1])),
        "last_contact": CONTACTS.get(place, ""),
        "notes": NOTES.get(place, ""),
        "dog": "yes" if place in (1, 52, 90) else "",
        **flags,
    }


def _lot_facts(lot: Lot, place: int, chance: np.random.Generator) -> dict[str, object]:
    area = {"lane": "edge", "way": "edge"}.get(lot.area, lot.area)
    if area == "grid":
        area = "south" if lot.origin[1] < 320 else "north"
    if "curve" in lot.tags:
        area = "curve"
    route, day = ROUTES[area]
    return {
        "address": f"{lot.number} {lot.street}, {TOWN}",
        "parcel_id": f"{chance.integers(10, 99)}-{place + 401:05d}",
        "route": route, "mow_day": day,
        "frontage_ft": round(lot.width_ft) if place % 7 else "",
        "hoa": "yes" if area == "curve" else "no" if area == "tract" else "",
        "year_built": NEW_TRACT_YEAR + place % 4 if area == "curve" else "",
    }  # fmt: skip
