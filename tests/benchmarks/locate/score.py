"""Compare found frames with the truth."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np

from benchmarks.result import Row, figure


def polygon_iou(a: np.ndarray, b: np.ndarray) -> float:
    area, _ = cv2.intersectConvexConvex(a.astype(np.float32), b.astype(np.float32))
    union = cv2.contourArea(a.astype(np.float32)) + cv2.contourArea(b.astype(np.float32)) - area
    return float(area / union) if union > 0 else 0.0


def best_outline(true: Any, found: np.ndarray) -> tuple[float, np.ndarray]:
    """Return the IoU with the nearest of the outlines that are right, and that outline."""
    outlines = [np.asarray(each, float) for each in (true["corners"], *true.get("also", ()))]
    shares = [polygon_iou(each, found) for each in outlines]
    at = int(np.argmax(shares))
    return shares[at], outlines[at]


def is_covered(true: np.ndarray, frames: Any) -> bool:
    """Return whether nine tenths of it lie within one of the frames."""
    area = cv2.contourArea(true.astype(np.float32))
    within = [
        cv2.intersectConvexConvex(true.astype(np.float32), np.asarray(f["corners"], np.float32))[0]
        for f in frames
    ]
    return bool(max(within, default=0.0) >= 0.9 * area)


def agrees(found: Any, true: Any) -> bool:
    """Return whether polarity and process are right; None in the truth: either is."""
    return all(true[name] in (None, found[name]) for name in ("polarity", "process"))


def angle(c: np.ndarray) -> float:
    d = c[1] - c[0]
    return float(np.degrees(np.arctan2(d[1], d[0])))


@dataclass
class Result:
    kind: str
    name: str
    true: int = 0
    found: int = 0
    matched: int = 0
    corner: list[float] = field(default_factory=list)  # % of the diagonal
    skew: list[float] = field(default_factory=list)
    lost: list[float] = field(default_factory=list)  # % of the area
    ok: list[bool] = field(default_factory=list)
    confidence: list[float] = field(default_factory=list)
    character: list[bool] = field(default_factory=list)
    blank_right: list[bool] = field(default_factory=list)
    wrong_unmarked: int = 0
    gone_unsaid: int = 0  # pictures that no outline covers, and nothing of the master is for review
    merged_unmarked: int = 0  # pictures that only an outline of more covers, and the same
    no_picture_unmarked: int = 0  # outlines round no picture, not for review
    crashed: int = 0
    review_right: int = 0
    review_wrong_character: int = 0  # of those, of another polarity or process: rightly marked
    marked: bool = False  # whether anything of the master is for review
    ppi_error: float | None = None
    seconds: float = 0.0
    remarks: list[str] = field(default_factory=list)


def compare(kind, name, truth, frames, ppi=None, true_ppi=None) -> Result:
    """truth, frames: dicts with corners, polarity, process, blank (and state, confidence)."""
    needed = [t for t in truth if not t.get("optional")]
    r = Result(kind, name, len(needed), len(frames))
    marked = not frames or any(f["state"] != "ok" for f in frames)
    r.marked = marked
    free = list(range(len(frames)))
    # Those that may be missed come last, so that they take no frame from another.
    for t in [*needed, *(t for t in truth if t.get("optional"))]:
        tc = np.asarray(t["corners"], float)
        best, at = 0.0, None
        for k in free:
            v, outline = best_outline(t, np.asarray(frames[k]["corners"], float))
            if v > best:
                best, at, tc = v, k, outline
        if at is None or best < 0.5:
            if not t.get("optional"):
                unsaid = not (marked or t["blank"])
                inside = unsaid and is_covered(np.asarray(t["corners"], float), frames)
                r.merged_unmarked += inside
                r.gone_unsaid += unsaid and not inside
                said = ", IN A LARGER OUTLINE" if inside else ", WITHOUT A WORD" if unsaid else ""
                r.remarks.append(f"missed (iou {best:.2f}){said}")
            continue
        free.remove(at)
        f = frames[at]
        if t.get("optional"):
            r.found -= 1
            if t["blank"] and f["state"] == "ok" and not f["blank"]:
                r.no_picture_unmarked += 1
                r.remarks.append("outline round no picture UNMARKED")
            continue
        fc = np.asarray(f["corners"], float)
        diagonal = np.hypot(*(tc[2] - tc[0]))
        error = float(np.hypot(*(fc - tc).T).max() / diagonal * 100)
        skew = abs((angle(fc) - angle(tc) + 180) % 360 - 180)
        area, _ = cv2.intersectConvexConvex(tc.astype(np.float32), fc.astype(np.float32))
        lost = 100 * (1 - area / cv2.contourArea(tc.astype(np.float32)))
        ok = f["state"] == "ok"
        r.matched += best >= 0.9
        r.blank_right.append(bool(f["blank"]) == bool(t["blank"]))
        if bool(f["blank"]) != bool(t["blank"]):
            r.remarks.append(f"blank {f['blank']} should be {t['blank']}")
        if t["blank"]:
            continue  # there is no picture edge to be right or wrong about
        r.corner.append(error)
        r.skew.append(skew)
        r.lost.append(max(0.0, float(lost)))
        r.ok.append(ok)
        r.confidence.append(float(f["confidence"]))
        right = agrees(f, t)
        if ok:
            r.character.append(right)
        if error > 1:
            r.remarks.append(
                f"corner {error:.2f} % {'UNMARKED' if ok else 'marked'} {f.get('reasons')}"
            )
            r.wrong_unmarked += ok
        elif not ok:
            r.review_right += 1
            r.review_wrong_character += not right
            r.remarks.append(f"right but review: {f.get('reasons')}")
        if ok and not right:
            r.remarks.append(
                f"{f['polarity']} {f['process']} should be {t['polarity']} {t['process']}"
            )
    for k in free:
        r.remarks.append(f"extra frame {'ok' if frames[k]['state'] == 'ok' else 'review'}")
        r.wrong_unmarked += frames[k]["state"] == "ok"
        r.no_picture_unmarked += frames[k]["state"] == "ok" and not frames[k]["blank"]
    if ppi and true_ppi:
        r.ppi_error = abs(ppi / true_ppi - 1) * 100
    return r


def failed(kind: str, name: str, truth: Any, why: str, crashed: bool) -> Result:
    """Return the result of a master of which nothing was found, and the reason is said."""
    needed = sum(not t.get("optional") for t in truth)
    return Result(kind, name, needed, crashed=int(crashed), remarks=[why])


def all_right(r: Result) -> bool:
    """Return whether nothing of a master is wrong: each picture is there, and nothing else."""
    there = r.found == r.true == r.matched and all(r.blank_right)
    return there and max(r.corner, default=0.0) <= 1 and all(r.character) and not r.crashed


def rows(results: list[Result], kinds: list[str]) -> list[Row]:
    """Return a row per kind, and one of all: errors as median and 95th percentile (p95)."""
    found = []
    for kind in [*kinds, "all"]:
        rs = [r for r in results if kind in ("all", r.kind)]
        c = np.array([x for r in rs for x in r.corner] or [np.nan])
        s = np.array([x for r in rs for x in r.skew] or [np.nan])
        ok = np.array([x for r in rs for x in r.ok] or [False])
        lost = np.array([x for r in rs for x in r.lost] or [np.nan])
        right = int((c <= 1).sum())
        ch = [x for r in rs for x in r.character]
        bl = [x for r in rs for x in r.blank_right]
        whole = [r for r in rs if all_right(r) and not r.review_wrong_character]
        row: Row = {"kind": kind}
        row |= {n: sum(getattr(r, n) for r in rs) for n in ("true", "found", "matched")}
        found_there, matched = int(row["found"] or 0), int(row["matched"] or 0)
        row |= {
            "recall_percent": figure(100 * matched / max(int(row["true"] or 0), 1), 1),
            "precision_percent": figure(100 * matched / found_there if found_there else np.nan, 1),
            "gone_unsaid": sum(r.gone_unsaid for r in rs),
            "merged_unmarked": sum(r.merged_unmarked for r in rs),
            "no_picture_unmarked": sum(r.no_picture_unmarked for r in rs),
            "crashed": sum(r.crashed for r in rs),
        }
        row |= {
            "corner_percent": figure(np.median(c), 3),
            "corner_p95": figure(np.percentile(c, 95), 3),
            "skew_deg": figure(np.median(s), 4),
            "skew_p95": figure(np.percentile(s, 95), 3),
            "skew_max_ok": figure(s[ok].max() if ok.any() else 0, 3),
            "lost_percent": figure(np.median(lost), 3),
            "lost_p95": figure(np.percentile(lost, 95), 3),
            "wrong_unmarked": sum(r.wrong_unmarked for r in rs),
            "right_marked_percent": figure(
                100 * sum(r.review_right for r in rs) / max(right, 1), 1
            ),
            "right_marked_wrong_character": sum(r.review_wrong_character for r in rs),
            "masters_right": len(whole),
            "masters_right_marked_percent": figure(
                100 * sum(r.marked for r in whole) / len(whole) if whole else np.nan, 1
            ),
            "character_percent": figure(100 * np.mean(ch) if ch else np.nan, 1),
            "blank_right_percent": figure(100 * np.mean(bl) if bl else np.nan, 1),
        }
        found.append(row)
    return found


def summary(results: list[Result], kinds: list[str]) -> str:
    """Return the rows as a table of texts."""
    return table(rows(results, kinds))


def table(found: list[Row]) -> str:
    """Return rows of one schema as a table of texts."""
    columns = list(found[0])
    cells = [["-" if row[key] is None else str(row[key]) for key in columns] for row in found]
    wide = [max(map(len, column)) for column in zip(columns, *cells, strict=True)]
    return "\n".join(
        "  ".join(cell.rjust(width) for cell, width in zip(line, wide, strict=True))
        for line in [columns, *cells]
    )
