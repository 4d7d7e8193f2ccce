# SPDX-License-Identifier: Apache-2.0
"""The exact truth of a board of boards.py, from its geometry alone; conventions and units as there."""
import math

import numpy as np
from scipy import ndimage, optimize

from boards import RasterLayer


TRUTH_SUB = 4


def layer_labels(board, limit_mpx=400):
    """Connected copper of each layer after drilling, on a grid of TRUTH_SUB points a pixel; pixel offsets as in `draw`."""
    h, w = board.height_px * TRUTH_SUB, board.width_px * TRUTH_SUB
    assert h * w < limit_mpx * 1e6
    x = ((np.arange(w) + 0.5) / TRUTH_SUB - 0.5) * board.pixel_mm
    y = ((np.arange(h) + 0.5) / TRUTH_SUB - 0.5) * board.pixel_mm
    removed = np.zeros((h, w), bool)
    if board.outline is not None:
        for r in range(0, h, 512):
            removed[r:r + 512] = ~board.outline.contains(x[None, :], y[r:r + 512][:, None])

    def window(box):
        c0, c1 = np.searchsorted(x, [box[0], box[2]])
        r0, r1 = np.searchsorted(y, [box[1], box[3]])
        return slice(r0, r1), slice(c0, c1)

    for drill in board.drills:
        rows, cols = window(drill.box())
        if x[cols].size and y[rows].size:
            removed[rows, cols] |= drill.drilled(x[cols][None, :], y[rows][:, None])
    out = []
    for layer in board.layers:
        if isinstance(layer, RasterLayer):
            copper = np.empty((h, w), bool)
            for r in range(0, h, 512):
                copper[r:r + 512] = layer.contains(x[None, :], y[r:r + 512][:, None])
        else:
            copper = np.full((h, w), layer.poured)
            for shape, positive in layer.strokes:
                rows, cols = window(shape.box())
                if x[cols].size and y[rows].size:
                    copper[rows, cols][shape.contains(x[cols][None, :], y[rows][:, None])] = positive
        copper &= ~removed
        labels, n = ndimage.label(copper)
        size = np.bincount(labels.ravel(), minlength=n + 1) * (board.pixel_mm / TRUTH_SUB) ** 2
        out.append((labels, size))
    return out


def fit_circle(x, y):
    """Geometric least squares (distances), centre and radius."""
    start = [x.mean(), y.mean(), np.hypot(x - x.mean(), y - y.mean()).mean()]
    return optimize.least_squares(lambda q: np.hypot(x - q[0], y - q[1]) - q[2], start).x


def arcs_of(flags):
    """Runs of True in a closed turn as [from, to] in degrees, one flag a degree."""
    n = len(flags)
    if flags.all():
        return [[0.0, 360.0]]
    if not flags.any():
        return []
    start = int(np.flatnonzero(~flags)[0])
    arcs, begin = [], None
    for k in range(1, n + 1):
        i = (start + k) % n
        if flags[i] and begin is None:
            begin = i
        if not flags[i] and begin is not None:
            arcs.append([float(begin), float((i - 1) % n)])
            begin = None
    return arcs


def own_labels(board, drill, labelled, index):
    """Labels of a layer's copper that touches the plating."""
    if drill.plating_um <= 0:
        return np.array([], int)
    labels = labelled[index][0]
    step = board.pixel_mm / TRUTH_SUB
    angle = np.arange(0, 360, 0.5)
    plated = drill.air_radius(angle) < drill.base_radius(angle) - drill.plating / 2
    r = drill.base_radius(angle) + 1.2 * step
    value = lookup(board, labels, drill.x + r * np.cos(np.radians(angle)), drill.y - r * np.sin(np.radians(angle)))
    found, count = np.unique(value[plated], return_counts=True)
    return found[(found > 0) & (count >= 2)]


def lookup(board, image, x, y):
    col = np.floor((x / board.pixel_mm + 0.5) * TRUTH_SUB).astype(int)
    row = np.floor((y / board.pixel_mm + 0.5) * TRUTH_SUB).astype(int)
    ok = (row >= 0) & (col >= 0) & (row < image.shape[0]) & (col < image.shape[1])
    return np.where(ok, image[np.where(ok, row, 0), np.where(ok, col, 0)], 0)


def in_view(board, x, y):
    """Points in the field and on the board."""
    p = board.pixel_mm
    ok = (x > -0.5 * p) & (y > -0.5 * p) & (x < (board.width_px - 0.5) * p) & (y < (board.height_px - 0.5) * p)
    if board.outline is not None:
        ok &= board.outline.contains(x, y)
    return ok


def drilled_by_others(board, drill, x, y):
    out = np.zeros(np.broadcast(x, y).shape, bool)
    lo_x, hi_x, lo_y, hi_y = np.min(x), np.max(x), np.min(y), np.max(y)
    for other in board.drills:
        box = other.box()
        if other is drill or box[2] < lo_x or box[0] > hi_x or box[3] < lo_y or box[1] > hi_y:
            continue
        out |= other.drilled(x, y)
    return out


def first_foreign(board, drill, labelled, angle, reach_mm):
    """Per ray: gap to the first copper that is not own (nan: none), and whether own copper of another layer lies there."""
    step = board.pixel_mm / TRUTH_SUB
    wall = drill.wall_radius(angle)
    s = np.arange(0.02 * step, reach_mm, 0.5 * step)
    r = wall[:, None] + s[None, :]
    c, sn = np.cos(np.radians(angle))[:, None], np.sin(np.radians(angle))[:, None]
    x, y = drill.x + r * c, drill.y - r * sn
    view = in_view(board, x, y) & ~drilled_by_others(board, drill, x, y)
    foreign_any = np.zeros(r.shape, bool)
    own_any = np.zeros(r.shape, bool)
    foreign_layers = []
    for index, layer in enumerate(board.layers):
        own = own_labels(board, drill, labelled, index)
        copper = layer.contains(x, y) & view
        label = lookup(board, labelled[index][0], x, y)
        mine = np.isin(label, own)
        # on a boundary the label grid may say 0: take the word of the neighbours along the ray
        unknown = copper & (label == 0)
        beside = np.zeros_like(mine)
        for k in (1, 2, 3):
            beside[:, :-k] |= mine[:, k:]
            beside[:, k:] |= mine[:, :-k]
        mine = copper & (mine | (unknown & beside))
        foreign = copper & ~mine
        foreign_any |= foreign
        own_any |= mine
        foreign_layers.append(foreign)
    hit = foreign_any.argmax(1)
    found = foreign_any.any(1)
    gap = np.full(len(angle), np.nan)
    merged = np.zeros(len(angle), bool)
    for i in np.flatnonzero(found):
        k = hit[i]
        if k == 0:
            gap[i] = 0.0
            continue
        merged[i] = own_any[i, k - 1] or own_any[i, k]
        gap[i] = bisect(board, drill, foreign_layers, i, k, angle[i], wall[i], s)
    return gap, merged, own_any, s


def bisect(board, drill, foreign_layers, i, k, angle, wall, s):
    """Sharpen one ray's first hit to a thousandth of a step on the layers that are foreign there."""
    c, sn = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    lo, hi = s[k - 1], s[k]
    layers = [la for la, f in zip(board.layers, foreign_layers) if f[i, k]]
    for _ in range(10):
        mid = 0.5 * (lo + hi)
        x, y = np.array([drill.x + (wall + mid) * c]), np.array([drill.y - (wall + mid) * sn])
        if any(la.contains(x, y)[0] for la in layers) and not drilled_by_others(board, drill, x, y)[0]:
            hi = mid
        else:
            lo = mid
    return 0.5 * (lo + hi)


def hidden_flags(board, drill, angle, radius):
    """Rays whose point at `radius` lies behind something dense."""
    x, y = drill.x + radius * np.cos(np.radians(angle)), drill.y - radius * np.sin(np.radians(angle))
    out = np.zeros(len(angle), bool)
    for part in board.parts:
        if part.hides():
            out |= part.shape.contains(x, y)
    return out


def copper_beyond(board, drill, angle_deg, radius):
    """Foil in um that begins at `radius` along a ray: what stands just behind less what stands just before."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))

    def foil(r):
        x, y = np.array([drill.x + r * c]), np.array([drill.y - r * s])
        return sum(la.foil_um for la in board.layers if la.contains(x, y)[0])

    step = 0.1 * board.pixel_mm
    return float(foil(radius + step) - (foil(radius - step) if radius - step > drill.wall_radius(angle_deg) else 0))


def own_plane_flags(board, drill, labelled, angle):
    """Rays along which own copper runs on from the wall into a plane (own copper over 4 mm2, unbroken for 1 mm)."""
    step = board.pixel_mm / TRUTH_SUB
    s = np.arange(1.5 * step, 1.0, step)
    flags = np.zeros(len(angle), bool)
    largest = 0.0
    for index in range(len(board.layers)):
        labels, size = labelled[index]
        own = own_labels(board, drill, labelled, index)
        if own.size:
            largest = max(largest, float(size[own].max()))
        big = own[size[own] > 4 + math.pi * (drill.drill / 2) ** 2]
        if not big.size:
            continue
        r = drill.base_radius(angle)[:, None] + s[None, :]
        x = drill.x + r * np.cos(np.radians(angle))[:, None]
        y = drill.y - r * np.sin(np.radians(angle))[:, None]
        flags |= np.isin(lookup(board, labels, x, y), big).mean(1) > 0.97
    return flags, largest


def hole_truth(board, drill, labelled, reach_mm=3.0):
    """Everything the program should say about one hole, from the geometry alone. Lengths in mm, see keys."""
    kind = "slot" if drill.slot_to is not None else "filled" if drill.pin else "hole"
    finished = drill.drill - 2 * drill.plating
    if kind == "hole" and drill.plating_um > 0 and finished < 0.8:
        kind = "via"
    p = board.pixel_mm
    truth = {"kind": kind, "x_px": drill.x / p, "y_px": drill.y / p, "drill_mm": drill.drill,
             "plating_um": drill.plating_um, "tags": drill.tags}
    if kind == "slot":
        truth["x_px"], truth["y_px"] = (drill.x + drill.slot_to[0]) / 2 / p, (drill.y + drill.slot_to[1]) / 2 / p
        truth["length_mm"] = math.hypot(drill.slot_to[0] - drill.x, drill.slot_to[1] - drill.y) + drill.drill
    if kind in ("slot", "filled"):
        return truth
    angle = np.arange(360.0)
    air = drill.air_radius(angle)
    cx, cy, radius = fit_circle(air * np.cos(np.radians(angle)), -air * np.sin(np.radians(angle)))
    truth["bore_mm"] = 2 * radius if (drill.bites or drill.missing or drill.oval) else finished
    truth["fit_centre_px"] = [(drill.x + cx) / p, (drill.y + cy) / p]
    truth["perfect"] = not (drill.bites or drill.missing or drill.oval)
    truth["contour_px"] = (air / p).tolist()
    about = np.hypot(air * np.cos(np.radians(angle)) - cx, -air * np.sin(np.radians(angle)) - cy)
    truth["furthest_void_mm"] = float(about.max())  # from the centre of the circle that `bore_mm` is the diameter of
    plated = (air < drill.base_radius(angle) - drill.plating / 2) & (drill.plating_um > 0)
    truth["covered_fraction"] = float(plated.mean())
    truth["missing_arcs_deg"] = arcs_of(~plated) if drill.plating_um > 0 else []
    truth["wall"] = "bare" if drill.plating_um == 0 else "plated" if plated.all() else "incomplete"
    rim = hidden_flags(board, drill, angle, drill.wall_radius(angle))
    truth["seen_fraction"] = float(1 - rim.mean())
    truth["on_board"] = bool(in_view(board, drill.x + 1.02 * air * np.cos(np.radians(angle)),
                                     drill.y - 1.02 * air * np.sin(np.radians(angle))).all())
    if kind == "hole":
        ring_truth(board, drill, labelled, truth, reach_mm)
    return truth


def ring_truth(board, drill, labelled, truth, reach_mm):
    """Gap profile and keep-out of a hardware hole, added to `truth`."""
    angle = np.arange(0, 360, 0.25)
    gap, merged, own_any, s = first_foreign(board, drill, labelled, angle, reach_mm)
    wall = drill.wall_radius(angle)
    hidden = hidden_flags(board, drill, angle, wall)
    middle = hidden_flags(board, drill, angle, wall + 0.5 * np.nan_to_num(gap, nan=reach_mm))
    near = hidden_flags(board, drill, angle, wall + np.nan_to_num(gap, nan=reach_mm))
    hidden |= middle | near
    truth["gap_mm"] = [None if math.isnan(g) else float(g) for g in gap[::4]]
    truth["gap_hidden"] = hidden[::4].tolist()
    truth["gap_merged"] = merged[::4].tolist()
    truth["reach_mm"] = reach_mm
    found = ~np.isnan(gap)
    truth["keepout_mm"] = None
    if found.any():
        # nearest copper point to any wall point: exact for a round hole, to 0.25 degree for the others
        px = (wall + gap)[found]
        x, y = px * np.cos(np.radians(angle[found])), px * np.sin(np.radians(angle[found]))
        if truth["perfect"]:
            i = int(np.nanargmin(gap))
            truth["keepout_mm"], truth["min_angle_deg"] = float(gap[i]), float(angle[i])
        else:
            wx, wy = wall * np.cos(np.radians(angle)), wall * np.sin(np.radians(angle))
            d = np.sqrt(((x[:, None] - wx) ** 2 + (y[:, None] - wy) ** 2).min(1))
            i = int(d.argmin())
            truth["keepout_mm"], truth["min_angle_deg"] = float(d[i]), float(angle[found][i])
        at = int(round(truth["min_angle_deg"] * 4)) % 1440
        truth["min_merged"], truth["min_hidden"] = bool(merged[at]), bool(hidden[at])
        truth["min_copper_um"] = copper_beyond(board, drill, angle[at], wall[at] + gap[at])
    touching = (np.nan_to_num(gap[::4], nan=1.0) <= 0.02 * board.pixel_mm)
    runs, own_mm2 = own_plane_flags(board, drill, labelled, angle[::4])
    truth["touching"] = bool(drill.plating_um == 0 and touching.any())
    truth["touching_arcs_deg"] = arcs_of(touching) if drill.plating_um == 0 else []
    truth["runs_on"] = bool(runs.any())
    truth["runs_on_arcs_deg"] = arcs_of(runs)
    truth["own_mm2"] = own_mm2
    own = np.concatenate([own_any[::4]], 0)
    reach = np.where(own.any(1), s[own.shape[1] - 1 - own[:, ::-1].argmax(1)], 0.0)
    truth["own_outer_mm"] = float(np.median(reach) + drill.drill / 2) if drill.plating_um > 0 else 0.0
    truth["state"] = ("touching" if truth["touching"] else "runs_on" if truth["runs_on"]
                      else "ring_seen" if found.any() else "none_in_view")
    # own copper that leaves the land as a trace is neither a plane nor only a land: both words are right
    truth["state_open"] = bool(not truth["runs_on"] and drill.plating_um > 0 and own_mm2 > 4 + math.pi * drill.drill ** 2)


def truths(board):
    """Truth of every hole of the board, in the order of `board.drills`."""
    labelled = layer_labels(board)
    return [hole_truth(board, drill, labelled) for drill in board.drills]
