"""The members of a JSON object, read bit by bit: a file parsed whole takes five times its size in memory."""

from __future__ import annotations

import codecs
import json
import math
from collections.abc import Iterator
from json.decoder import JSONDecoder
from pathlib import Path
from typing import Any

from scanner.store.ceilings import MAX_BRACKETS, MAX_FEATURE_LETTERS

BATCH_FEATURES = 5_000
CHUNK_BYTES = 4_000_000
_SPACE = " \t\n\r"
_MOST_DIGITS = 300


def _whole(digits: str) -> float:
    """Read a whole number; one that no id and no coordinate has is as good as endless."""
    return int(digits) if len(digits) < _MOST_DIGITS else math.inf


_DECODER = JSONDecoder(parse_int=_whole)

Feature = tuple[Any, str]
"""A feature and its text."""


class TooLargeError(Exception):
    """A single value takes more than a reader should hold."""


class Members:
    """The members of a JSON object, read bit by bit; features come in batches of texts."""

    def __init__(self, path: Path) -> None:
        self.members = dict[str, Any]()
        self.has_features = self.is_object = False
        self._text, self._at, self._is_over = "", 0, False
        self._chunks = self._read(path)

    def read_all(self) -> Members:
        """Pass over the features, for what stands behind them."""
        for _ in self.batches():
            pass
        return self

    def batches(self) -> Iterator[list[Feature]]:
        """Yield features; of the members those are known that stand before them."""
        self.is_object = self._skip() == "{"
        if not self.is_object:
            self._value()
        while self.is_object and self._expect("{,}") != "}":
            # an object without members ends where the first one would begin
            if self._skip() == "}":
                continue
            name = str(self._value()[0])
            self._expect(":")
            if self._skip() == "[" and name == "features":
                self.has_features = True
                yield from self._features()
            else:
                self.members[name] = self._value()[0]
        if self._skip():
            self._fail("more than one document")

    def _features(self) -> Iterator[list[Feature]]:
        features, letters = list[Feature](), 0
        while self._expect("[,]") != "]":
            if self._skip() == "]":
                continue
            features.append(self._value())
            letters += len(features[-1][1])
            if len(features) == BATCH_FEATURES or letters > CHUNK_BYTES:
                yield features
                features, letters = [], 0
        yield features

    def _expect(self, letters: str) -> str:
        found = self._skip()
        if not found or found not in letters:
            self._fail(f"none of {letters}")
        self._at += 1
        return found

    def _value(self) -> tuple[Any, str]:
        while True:
            try:
                value, end = _DECODER.raw_decode(self._text, self._at)
            except json.JSONDecodeError:
                if self._is_over:
                    raise
            else:
                # A number at the very end of what was read may go on
                if end < len(self._text) or self._is_over:
                    text, self._at = self._text[self._at : end], end
                    return value, text
            self._more()

    def _skip(self) -> str:
        """Pass over white space; the letter that follows, blank at the end."""
        while True:
            letter = self._text[self._at : self._at + 1]
            if letter and letter in _SPACE:
                self._at += 1
            elif letter or self._is_over:
                return letter
            else:
                self._more()

    def _more(self) -> None:
        chunk = next(self._chunks, None)
        self._is_over = chunk is None
        # Doubling keeps a value of many chunks from being read over and over
        while chunk is not None and len(chunk) < len(self._text) - self._at:
            following = next(self._chunks, None)
            if following is None:
                break
            chunk += following
        rest = len(self._text) - self._at
        if rest > MAX_FEATURE_LETTERS or self._text.count("[", self._at) > MAX_BRACKETS:
            raise TooLargeError
        self._text, self._at = self._text[self._at :] + (chunk or ""), 0

    def _fail(self, why: str) -> None:
        raise json.JSONDecodeError(why, self._text, self._at)

    @staticmethod
    def _read(path: Path) -> Iterator[str]:
        decoder = codecs.getincrementaldecoder("utf-8-sig")()
        with path.open("rb") as stream:
            while chunk := stream.read(CHUNK_BYTES):
                yield decoder.decode(chunk)
        yield decoder.decode(b"", final=True)
