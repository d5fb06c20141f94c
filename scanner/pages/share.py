"""
A scan to hand on: no name, number, address, note or id in it, and the ground moved to no place.

Lots keep their shape, size and how they lie to each other, north stays up; the middle of the
first lies at 0° N, 0° E. What hangs on who lives there (reasons, last words, why nobody is called) is
left out; areas, quantities, prices and profit are in it. Whoever has the county's own maps may
still find the streets again by their shapes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from scanner.errors import BookError
from scanner.pages.geojson import beds_geojson
from scanner.pages.summary import summary_json
from scanner.pages.webmap import map_pages
from scanner.pages.webmap_pages import FOLDER
from scanner.plane.frame import to_degrees, to_feet
from scanner.schema.documents import Part, Scan
from scanner.schema.local_rules import Backgrounds, Company
from scanner.schema.plan_tables import UNDER_WAY
from scanner.schema.tables import CLIENTS, PROBLEMS, UTILITIES, empty_table
from scanner.store.replacing import put_in_place

NOWHERE = "0.0,0.0"
NEEDED = ("lots", "beds", "shapes", "quantities", "prices", "offers")
SHARED = ("map.html", "candidates.geojson", "summary.json", FOLDER)
"""All that stands in the folder."""

ID_COLUMNS = ("bed_id", "offer_id", "bed_ids", "upgrade_offer_id", "upgrade_bed_ids", "unseen_bed_ids")  # fmt: skip
PERSONAL = ("reasons", "sign_factors", "last_contact", "last_outcome", "last_note", "due_action", "due_date")  # fmt: skip
"""Columns that tell of the client, not of the ground."""

NOT_OFFERED = "not offered"


def publish_shared(scan: Scan, folder: Path) -> list[Path]:
    """Write map, beds and totals to hand on; `BookError` where anything else lies in the folder, for it would go along."""
    strange = sorted(path.name for path in folder.glob("*") if path.name not in SHARED)
    if strange:
        message = f"{folder} holds {', '.join(strange[:3])}: what is handed on stands alone, so name an empty folder with --out"
        raise BookError(message)
    return put_in_place(_render(_Veil(scan)), folder, stale=[f"{FOLDER}/*.html"])


def _render(veil: _Veil) -> Iterator[tuple[str, bytes]]:
    scan = veil.cover()
    yield "summary.json", summary_json(scan)
    pages, shapes = map_pages(scan, scan.parts), beds_geojson(scan, scan.parts)
    for of_map, beds in zip(pages, shapes, strict=True):
        yield from of_map
        yield "candidates.geojson", beds


@dataclass(frozen=True)
class _Veil:
    """What stands for each id of a scan, and where its ground is moved from."""

    scan: Scan

    @cached_property
    def lots(self) -> dict[str, str]:
        """Number the lots as they lie, and after them whoever has none."""
        owners = [part["lots"]["client_id"] for part in self.scan.parts]
        every = pd.concat([*owners, self.scan.clients["client_id"]]).unique()
        return {client_id: f"L{number}" for number, client_id in enumerate(every, start=1)}

    @cached_property
    def ids(self) -> dict[str, str]:
        """Name beds and offers by their lots."""
        beds, offers = self.scan.beds, self.scan.offers
        names = {
            bed_id: f"{self.lots[client_id]}-{along}-{bed_id.rpartition('-')[2]}"
            for bed_id, client_id, along in zip(beds["bed_id"], beds["client_id"], beds["along"], strict=True)
        }  # fmt: skip
        jobs = zip(offers["offer_id"], offers["client_id"], strict=True)
        more = [(offer_id, client_id) for offer_id, client_id in jobs if offer_id not in names]
        return names | {
            offer_id: f"{self.lots[client_id]}+{number}"
            for number, (offer_id, client_id) in enumerate(more, start=1)
        }

    @cached_property
    def routes(self) -> dict[str, str]:
        """Number the routes."""
        names = sorted({*self.scan.clients["route"]} - {""})
        return {"": ""} | {name: f"Route {number}" for number, name in enumerate(names, start=1)}

    @cached_property
    def middle(self) -> str:
        """Name the plane round the first lot."""
        bounds = [
            shapely.total_bounds(part["shapes"]["geometry"].to_numpy())
            for part in self.scan.parts[:1]
        ]
        known = [one for one in bounds if np.isfinite(one).all()]
        left, low, right, top = known[0] if known else (0.0, 0.0, 0.0, 0.0)
        return f"{(left + right) / 2:.9f},{(low + top) / 2:.9f}"

    def cover(self) -> Scan:
        """Give the scan with nothing in it that tells of a person or a place."""
        scan = self.scan
        rules = scan.rules.model_copy(
            update={"company": Company(name="Names and places left out"), "backgrounds": Backgrounds(), "state": ""}
        )  # fmt: skip
        words = {scan.rules.locating: rules.locating}
        calls = scan.calls.assign(
            **dict.fromkeys(PERSONAL, ""),
            left_out=scan.calls["left_out"].where(scan.calls["left_out"] == "", NOT_OFFERED),
        )
        calls = calls.sort_values(["left_out", "rank", "offer_id"], ignore_index=True)
        out = [*scan.left_out["client_id"], *scan.under_way["client_id"]]
        left_out = pd.DataFrame({"client_id": out, "reason": NOT_OFFERED})
        left_out = left_out.assign(has_offer=left_out["client_id"].isin(scan.calls["client_id"]))
        return replace(
            scan,
            name="shared",
            clients=self._clients(),
            own=pd.DataFrame(index=pd.Index([*self.lots.values()])),
            lots=self.table(scan.lots),
            beds=self.table(scan.beds),
            offers=self.table(scan.offers, words),
            calls=self.table(calls),
            left_out=self.table(left_out),
            under_way=empty_table(UNDER_WAY),
            totals=scan.totals.assign(route=scan.totals["route"].map(self.routes)),
            problems=empty_table(PROBLEMS),
            rules=rules,
            assumptions=(),
            parts=[_Covered(part, self, words) for part in scan.parts],
        )

    def _clients(self) -> pd.DataFrame:
        """Give clients with a number in place of the name, a route by number, and nothing else."""
        clients = self.scan.clients
        bare = empty_table(CLIENTS).reindex(range(len(clients)))
        texts = {str(name): "" for name in bare if bare[name].dtype != "float64"}
        ids = clients["client_id"].map(self.lots).to_numpy()
        routes = clients["route"].map(self.routes).to_numpy()
        return bare.assign(**texts).assign(client_id=ids, name="Lot " + pd.Series(ids).str[1:], route=routes, phone="–")  # fmt: skip

    def table(self, table: pd.DataFrame, words: Mapping[str, str] | None = None) -> pd.DataFrame:
        """Cover the ids of a table, and sentences that name a place; rows of what is offered nowhere go."""
        if "offer_id" in table:
            table = table[table["offer_id"].isin([*self.ids])]
        covered = {
            name: table[name].map(lambda text: " ".join(self.ids[one] for one in text.split() if one in self.ids))
            for name in ID_COLUMNS if name in table
        }  # fmt: skip
        if "client_id" in table:
            covered["client_id"] = table["client_id"].map(self.lots)
        if "cautions" in table and words:
            for own, general in words.items():
                covered["cautions"] = table["cautions"].str.replace(own, general, regex=False)
        return table.assign(**{name: column.astype("str") for name, column in covered.items()})

    def shapes(self, shapes: pd.DataFrame) -> pd.DataFrame:
        """Move shapes to where nobody lives, as large as they are and as they lie to each other."""
        refs = [one if one in UTILITIES else self.ids.get(one, "") for one in shapes["ref"]]
        moved = to_degrees(to_feet(shapes["geometry"].to_numpy(), self.middle), NOWHERE)
        owners = shapes["client_id"].map(self.lots).astype("str")
        return shapes.assign(client_id=owners, ref=refs, geometry=moved)


class _Covered(Mapping[str, pd.DataFrame]):
    """A part that is covered table by table, when each is asked for."""

    def __init__(self, part: Part, veil: _Veil, words: Mapping[str, str]) -> None:
        self._part, self._veil, self._words = part, veil, words

    def __getitem__(self, name: str) -> pd.DataFrame:
        """Cover a table, and move what has a place."""
        table = self._part[name]
        return (
            self._veil.shapes(table) if name == "shapes" else self._veil.table(table, self._words)
        )

    def __iter__(self) -> Iterator[str]:
        return iter(NEEDED)

    def __len__(self) -> int:
        return len(NEEDED)
