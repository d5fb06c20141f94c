"""Proposed rates: a file beside rates.toml, each change with its reason, the rest as it was."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pandas as pd

from scanner.store.replacing import put_in_place

PROPOSED_FILE = "rates-proposed.toml"


def write_proposals(folder: Path, proposals: pd.DataFrame, *, reason: str) -> Path:
    """Write proposed rates beside the old ones, with what ``rates.toml`` says of the others, so that the file can take its place."""
    own = folder / "rates.toml"
    text = _compose(proposals, _rest(own, proposals["rate_key"].tolist()), reason)
    return put_in_place([(PROPOSED_FILE, text.encode())], folder)[0]


def _compose(proposals: pd.DataFrame, rest: str | None, reason: str) -> str:
    use = "rename this file to rates.toml" if rest is not None else "copy its lines into rates.toml"
    lines = [f"# Proposed rates: {reason}.", f"# Look at each; to use them, {use}.", ""]
    for row in proposals.to_dict("records"):
        ratio = f"{row['ratio']:.2f} times the estimate (80 % interval {row['ratio_low']:.2f} to {row['ratio_high']:.2f}); 8 of 10 jobs lie between {row['jobs_low']:.2f} and {row['jobs_high']:.2f}"
        lines += [
            f"# was {row['was']:.4g}: {row['job_count']} jobs took {ratio}",
            f"{row['rate_key']} = {{ value = {row['value']:.4g}, low = {row['low']:.4g}, "
            f'high = {row["high"]:.4g}, source = "{reason}" }}',
        ]  # fmt: skip
    text = "\n".join(lines) + "\n"
    return f"{text}\n# --- as rates.toml has it\n{rest}" if rest and rest.strip() else text


def _rest(own: Path, keys: list[str]) -> str | None:
    """Give the book's own rates without those proposed, as they stand; None where that fails."""
    if not own.is_file():
        return ""
    text = own.read_bytes().decode("utf-8-sig", errors="replace").replace("\r\n", "\n")
    for key in keys:
        text = re.sub(rf"(?m)^[ \t]*{key}[ \t]*=", f"# replaced above: {key} =", text)
        text = re.sub(rf"(?ms)^\[{key}\].*?(?=^\[|\Z)", "", text)
    try:
        left = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None
    return None if set(keys) & set(left) else text.rstrip("\n") + "\n"
