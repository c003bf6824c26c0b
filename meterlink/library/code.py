"""A set-up as a short text for a QR code: the present lights, placements and readings, compressed.

``meterlink1.`` and then the document of ``format.py`` (compact JSON, zlib, base64url).  History stays behind: older
versions, older placements, taken-back readings and waveforms are left out, so that a set of a dozen lights still fits.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any

from meterlink.errors import ImportRefused
from meterlink.library.export import document, to_json
from meterlink.library.importing import parse
from meterlink.library.store import Library

PREFIX = "meterlink1."
QR_BYTES_MAX = 2331
"""What the largest QR code holds at error correction M (ISO/IEC 18004, version 40-M, from memory; segno refuses more)."""
JSON_BYTES_MAX = 256 * 1024
"""A code that unpacks to more was not written by us: nothing larger is ever allocated."""


def slim_document(library: Library, setup_id: str, *, readings: bool = True) -> dict[str, Any]:
    """Return the document of a set-up as it is now, without its history."""
    doc = document(library, [setup_id], waveforms=False)
    doc["setups"] = [_without_picture(one) for one in doc["setups"][-1:]]
    latest = {one["id"]: one for one in doc.get("lights", [])}
    doc["lights"] = [one for one in latest.values() if not one.get("removed")]
    kept = {one["id"] for one in doc["lights"]}
    placements = {p.id for p in library.current_placements(setup_id).values()}
    doc["placements"] = [p for p in doc.get("placements", []) if p["id"] in placements and p["light_id"] in kept]
    current = {
        r.id: r
        for r in library.readings(setup_id)
        if (r.light_id is None or r.light_id in kept) and (r.placement_id is None or r.placement_id in placements)
    }
    doc["readings"] = [_slim(r) for r in doc.get("readings", []) if readings and r["id"] in current]
    used = {r["calibration_id"] for r in doc["readings"]}
    doc["calibrations"] = [c for c in doc.get("calibrations", []) if c["id"] in used]
    doc.pop("marks", None)
    return {k: _rounded(v) for k, v in doc.items() if v not in ([], None)}


def _without_picture(setup: dict[str, Any]) -> dict[str, Any]:
    """The small copy of the reference photograph would fill the code many times over."""
    details = {k: v for k, v in setup.get("details", {}).items() if k != "reference_picture"}
    return {**setup, "details": details}


def _rounded(value: Any) -> Any:
    """Six digits are a ten-thousandth of a stop; the other eleven of a double would fill the code.  Times keep seconds."""
    if isinstance(value, float):
        return int(value) if abs(value) >= 1e8 else float(f"{value:.6g}")
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    return [_rounded(v) for v in value] if isinstance(value, list) else value


def _slim(reading: dict[str, Any]) -> dict[str, Any]:
    """Leave out what only matters while metering; what a reading superseded is not in the document."""
    return {k: v for k, v in reading.items() if k not in ("pops", "supersedes_id", "peak_lx", "t05_s", "note")}


def encode(doc: dict[str, Any]) -> str:
    """Return the text of a document."""
    packed = zlib.compress(to_json(doc, compact=True).encode(), 9)
    return PREFIX + base64.urlsafe_b64encode(packed).decode().rstrip("=")


def decode(text: str) -> Any:
    """Return the document of a code.  Raises ImportRefused for anything else; never unpacks more than its cap."""
    plain = "".join(text.split())
    if not plain.startswith(PREFIX) or len(plain) > 2 * QR_BYTES_MAX:
        raise ImportRefused("this is no code of a meterlink set-up: scan the square on the sheet again")
    body = plain.removeprefix(PREFIX)
    try:
        packed = base64.b64decode(body + "=" * (-len(body) % 4), altchars=b"-_", validate=True)
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(packed, JSON_BYTES_MAX)
    except (ValueError, zlib.error):
        raise ImportRefused("the code is damaged: scan the square on the sheet again") from None
    if unpacker.unconsumed_tail or unpacker.unused_data or not unpacker.eof:
        raise ImportRefused("the code is cut off, or more than a code: scan the square on the sheet again")
    return parse(data, "the code")
