"""Tables of the book room: what the company knows."""

from __future__ import annotations

from scanner.schema.columns import (
    FLAGS,
    SEVERITIES,
    SPRINKLERS,
    UTILITIES,
    TableSchema,
    count_column,
    number_column,
    shape_column,
    text_column,
    word_column,
)
from scanner.schema.edge_kinds import ALONG
from scanner.schema.feature_kinds import FEATURE_KINDS

MAX_LENGTH_FT = 5_000.0
"""A length that no lot has (starting value, no source)."""

CLIENTS = TableSchema("clients", "One row a client, as in clients.csv; more columns are carried along.", {
    "client_id": text_column("the company's own id of the client", least=1, unique=True),
    "name": text_column("name of the client"),
    "address": text_column("street address of the lot"),
    "parcel_id": text_column("the county's id of the lot"),
    "lon": number_column("degrees", "longitude of the lot, WGS 84", least=-180, most=180, known=False),
    "lat": number_column("degrees", "latitude of the lot, WGS 84", least=-180, most=180, known=False),  # as wide as lon: two exchanged are told for what they are
    "phone": text_column("phone number"),
    "email": text_column("e-mail address"),
    "route": text_column("mowing route"),
    "mow_day": text_column("day of the week on which the lot is mowed"),
    "stop": number_column("count", "place of the lot in the route's order", most=1e6, known=False),
    "client_since": text_column("day or year from which the client is on the books, ISO"),
    "visits_per_year": number_column("count", "mowing visits a year", most=366, known=False),
    "annual_usd": number_column("USD", "what the client pays a year", most=1e7, known=False),
    "frontage_ft": number_column("ft", "length of the lot along the street", most=MAX_LENGTH_FT, known=False),
    "mowed_ft2": number_column("ft2", "lawn area that is mowed", most=1e8, known=False),
    "sprinklers": word_column("whether the lawn has sprinklers", SPRINKLERS),
    "hoa": text_column("yes, no or the name of the owners' association"),
    "renter": word_column("whether the client rents", FLAGS),
    "past_due": word_column("whether the client owes money", FLAGS),
    "bought_before": word_column("whether the client bought extra work before", FLAGS),
    "do_not_call": word_column("whether the client asked not to be called", FLAGS),
    "last_contact": text_column("day of the last contact, ISO"),
    "notes": text_column("anything worth knowing"),
    "year_built": number_column("year", "year in which the house was built", known=False),
    "mailing_address": text_column("where letters go, where that is not the lot's address"),
    "no_mail": word_column("whether the client wants no letters", FLAGS),
})  # fmt: skip

FEATURES = TableSchema("features", "Site features, one row each, WGS 84 longitude and latitude.", {
    "feature_id": text_column("file and number of the feature in it, file#1 first", unique=True),
    "file": text_column("file that the feature came from, relative to the book"),
    "kind": word_column("what it is", FEATURE_KINDS),
    "client_id": text_column("client that it belongs to; blank: serves every site within reach, or placed by location"),
    "along": word_column("what a drawn edge runs along", (*ALONG, "")),
    "curbed": word_column("whether a street has a curb", FLAGS),
    "parking": word_column("whether cars park along a street's curb", FLAGS),
    "pavement_ft": number_column("ft", "width of a street, or of a sidewalk, known by its centerline", known=False),
    "dbh_in": number_column("in", "trunk diameter of a tree at breast height", known=False),
    "drives_known": word_column("whether every drive of an outline's lot is drawn; yes: none is guessed", FLAGS),
    "year_built": number_column("year", "year in which the house on an outline was built", known=False),
    "what": word_column("what a utility is", (*UTILITIES, "")),
    "geometry": shape_column("the shape", "degrees"),
})  # fmt: skip

MEASURED = TableSchema("measured", "Edges measured on foot, one row each.", {
    "client_id": text_column("client whose edge it is"),
    "along": word_column("what the edge runs along", ALONG),
    "length_ft": number_column("ft", "length of the edge, openings included", most=MAX_LENGTH_FT),
    "room_ft": number_column("ft", "depth of lawn there; blank: enough", most=MAX_LENGTH_FT, known=False),
    "openings_ft": number_column("ft", "drive and walk widths in the edge", most=MAX_LENGTH_FT),
    "bed_id": text_column("bed that was measured; blank: all along that edge"),
    "measured_on": text_column("day on which it was measured, ISO; blank: in measured.csv, before anything was built"),
    "note": text_column("anything worth knowing"),
    "row": count_column("row of the file, 2 is the first below the header"),
})  # fmt: skip

CAPACITY = TableSchema("capacity", "Crew-days that are free for bed work, as in capacity.csv.", {
    "week": text_column("Monday of the week, ISO", least=1),
    "crew": text_column("crew; blank: the only one"),
    "free_crew_days": number_column("days", "free for beds in that week"),
}, unique=("week", "crew"))  # fmt: skip

PROBLEMS = TableSchema("problems", "What was found wrong or worth saying, one row each.", {
    "file": text_column("file that it was found in; blank: none"),
    "feature": text_column("row or feature in it; blank: the whole file"),
    "client_id": text_column("client concerned; blank: none"),
    "severity": word_column("fault: left out, exit code 1; note: said, exit code 0", SEVERITIES),
    "problem": text_column("what came and what is allowed"),
    "remedy": text_column("what to do about it"),
})  # fmt: skip
