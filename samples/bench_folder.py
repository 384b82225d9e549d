"""Folders of practice photos in the layout that the accuracy bench reads: one folder is one table.

``table.json`` tells of the components, ``components.json`` the colours, ``photos.json`` the
truth of every photo. Points are px of the upright picture, (0, 0) at the centre of the top left
pixel; lengths are mm.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from samples.board import Mark
from samples.conditions import Conditions
from samples.grids import Layout
from samples.kits import Kit
from samples.photographer import Shot, empty_grid, take_photo

SAME, MOVED = "same-light", "moved-light"
CALIBRATION_DIFFICULTY = 0.3
"""People take more care with the photos that they calibrate with."""

PLAYERS = 3
"""Boards that share one box."""


@dataclass(frozen=True)
class Plan:
    """How many photos of each kind a table gets, how hard the games' are (0 to 1), and how
    large.
    """

    empties: int = 2
    layouts: int = 3
    games: int = 10
    moved_games: int = 4
    difficulty: float = 0.6
    long_side_px: int = 1600


@dataclass(frozen=True)
class Session:
    """One photo to take: file name, role, split, grid, conditions."""

    file: str
    role: str
    split: str
    grid: Layout
    conditions: Conditions


def write_bench_folder(folder: Path, kit: Kit, seed: int, plan: Plan | None = None) -> None:
    """Photograph one table from a seed and write everything that the bench needs."""
    plan = plan or Plan()
    rng = np.random.default_rng([seed, 0xBE2C])
    layout = kit.layout(rng)
    base = replace(Conditions.random(rng, plan.difficulty), dice=0, fingers=0)
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    records = []
    for session in plan_sessions(kit, base, layout, plan, rng):
        shot = take_photo(kit.board, session.grid, session.conditions, rng, kit.strip)
        (folder / "photos" / session.file).write_bytes(shot.jpeg())
        records.append(photo_record(session, shot))
    _write(folder / "table.json", table_record(folder.name, kit, layout, base))
    _write(folder / "components.json", {"table": folder.name, "colours": list(kit.colours)})
    _write(folder / "photos.json", records)


def plan_sessions(
    kit: Kit, base: Conditions, layout: Layout, plan: Plan, rng: np.random.Generator
) -> Iterator[Session]:
    """List the photos of one table: empty and layout boards, then games in the same and in moved
    light.
    """
    nothing = empty_grid(kit.board)
    for role, number, grid in (("empty", plan.empties, nothing), ("layout", plan.layouts, layout)):
        for i in range(1, number + 1):
            calm = replace(base.snapped(rng, CALIBRATION_DIFFICULTY), dice=0, fingers=0)
            yield Session(f"{role}-{i}.jpg", role, SAME, grid, sized(calm, plan))
    box = kit.open_box()
    for i in range(1, plan.games + plan.moved_games + 1):
        if i % PLAYERS == 1:
            box = kit.open_box()
        moved = i > plan.games
        light = base.in_light(rng, plan.difficulty) if moved else base
        conditions = light.snapped(rng, plan.difficulty)
        split = MOVED if moved else SAME
        yield Session(
            f"game-{i:02}.jpg", "game", split, kit.final_board(box, rng), sized(conditions, plan)
        )


def sized(conditions: Conditions, plan: Plan) -> Conditions:
    """Return the same photo with the plan's long side."""
    scale = plan.long_side_px / max(conditions.size_px)
    width, height = (round(side * scale) for side in conditions.size_px)
    return replace(conditions, size_px=(width, height))


def table_record(name: str, kit: Kit, layout: Layout, base: Conditions) -> dict[str, object]:
    """Return what ``table.json`` says."""
    board, lattice = kit.board, kit.lattice
    return {
        "name": name,
        "title": board.title,
        "geometry": lattice.kind,
        "board_size_mm": list(board.size_mm),
        "board_thickness_mm": board.board_mm,
        "board_outline_mm": board.corners_mm.tolist(),
        "cell_pitch_mm": round(board.pitch_mm, 3),
        "piece_thickness_mm": board.piece_mm,
        "support": kit.support,
        "cells": [
            {
                "id": place.id,
                "polygon_mm": [list(point) for point in place.polygon_mm],
                "centre_mm": [round(part, 3) for part in place.centre_mm],
                "neighbours": list(lattice.neighbours[place.id]),
                "anchor": place.anchor,
            }
            for place in board.places
        ],
        "colours": list(kit.colours),
        "layout": layout,
        "markers": [mark_record(mark, board.mark_height_mm(mark)) for mark in board.marks],
        "marker_dictionary": "DICT_4X4_50" if board.marks else None,
        "light": [{"name": lamp.kind, "kind": "lamp"} for lamp in base.lamps]
        + [{"name": base.ambient[0], "kind": "ambient"}],
        "notes": "Practice photos, painted by a program; board plane in mm, origin top left.",
    }


def mark_record(mark: Mark, height_mm: float) -> dict[str, object]:
    """Return what ``table.json`` says of one mark."""
    record: dict[str, object] = {
        "id": mark.id,
        "on": mark.on,
        "corners_mm": [list(point) for point in mark.corners_mm],
    }
    if mark.on == "card":
        record["placed_corners_mm"] = np.round(mark.real_corners_mm, 3).tolist()
        record["z_mm"] = round(height_mm, 3)
    return record


def photo_record(session: Session, shot: Shot) -> dict[str, object]:
    """Return what ``photos.json`` says of one photo."""
    truth, conditions = shot.truth, shot.conditions
    corners = np.array(truth.board_corners_px)
    return {
        "file": session.file,
        "role": session.role,
        "split": session.split,
        "cells": dict(truth.labels),
        "under_cover": dict(truth.under_cover),
        "partly_covered_cells": list(truth.partly_covered),
        "shaded_cells": list(truth.shaded),
        "glare_cells": list(truth.glaring),
        "board_corners_px": truth.board_corners_px,
        "cell_centres_px": dict(truth.cell_centres_px),
        "piece_top_px": dict(truth.piece_top_px),
        "marker_corners_px": {str(id): spots for id, spots in truth.mark_corners_px.items()},
        "strip_px": dict(truth.strip_px),
        "size_px": list(conditions.size_px),
        "tilt_deg": round(conditions.tilt_deg, 1),
        "fov_deg": round(conditions.fov_deg, 1),
        "k1": round(conditions.k1, 4),
        "board_fill": round(fill_of(corners, conditions.size_px), 3),
        "camera_distance_mm": round(shot.camera.distance_mm, 1),
        "illuminants": [asdict(lamp) for lamp in conditions.lamps],
        "flags": flags_of(shot),
        "camera": f"phone{conditions.phone_nm:+.1f}nm",
        "exif_orientation": conditions.exif_orientation,
        "jpeg_quality": conditions.jpeg_quality,
    }


def fill_of(corners_px: np.ndarray, size_px: tuple[int, int]) -> float:
    """Return the share of the picture that the board fills."""
    x, y = corners_px[:, 0], corners_px[:, 1]
    area = 0.5 * abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()))
    return area / (size_px[0] * size_px[1])


def flags_of(shot: Shot) -> list[str]:
    """Return the words for what is hard about this photo."""
    truth, conditions = shot.truth, shot.conditions
    found: Mapping[str, bool] = {
        "shadow": bool(truth.shaded),
        "glare": len(truth.glaring) > 1,
        "blur": conditions.blur_px > 1.2 or any(conditions.motion_px),
        "portrait-exif": conditions.exif_orientation != 1,
        "occluded": bool(conditions.dice or conditions.fingers),
        "under-exposed": conditions.exposure_ev < -0.5,
        "over-exposed": conditions.exposure_ev > 0.5,
    }
    return [word for word, there in found.items() if there]


def _write(path: Path, content: object) -> None:
    path.write_text(json.dumps(content, indent=1) + "\n", "utf-8")
