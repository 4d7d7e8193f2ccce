# SPDX-License-Identifier: Apache-2.0
"""Synthetic face-on radiographs of printed boards, with exact truth.

An independent referee: it shares no code, no table and no drawing method with the library. Lengths in mm unless the
name says otherwise, x right, y down, pixel (0, 0) has its centre at (0, 0); angles in degrees, anticlockwise as seen,
0 = +x. Every sub-sample of a pixel is one material stack or another (never half covered), its transmission is computed
for each energy of the beam, and the transmissions are averaged: intensities are mixed, never path lengths.

Attenuation: NIST SRD 126 (Hubbell & Seltzer, NISTIR 5632), Table 3, mass attenuation in cm2/g at the energies below,
log-log interpolated. Laminate rows: computed constructions for E-glass and epoxy (60 % glass without bromine, 1.85
g/cm3; the same with 7.5 % bromine, 1.90 g/cm3), linear attenuation in 1/cm; not facts about a real board.
"""
import math

import numpy as np
from scipy import ndimage, optimize

GRID = np.array([20, 30, 40, 50, 60, 80, 100, 150], float)  # keV
NIST = {  # mu/rho in cm2/g, density in g/cm3
    "copper": (8.96, [33.79, 10.92, 4.862, 2.613, 1.593, 0.7630, 0.4584, 0.2217]),
    "tin": (7.31, [21.46, 41.21, 19.42, 10.70, 6.564, 3.029, 1.676, 0.6091]),
    "steel": (7.874, [25.68, 8.176, 3.629, 1.958, 1.205, 0.5952, 0.3717, 0.1964]),
    "aluminium": (2.699, [3.441, 1.128, 0.5685, 0.3681, 0.2778, 0.2018, 0.1704, 0.1378]),
}
LAMINATE = {  # linear, 1/cm
    "plain": [4.456, 1.563, 0.8476, 0.5870, 0.4670, 0.3626, 0.3169, 0.2649],
    "brominated": [12.00, 4.063, 1.963, 1.181, 0.8204, 0.5182, 0.3998, 0.2925],
}
SUB = 8           # sub-samples a pixel and axis
BLUR_GRID = 4     # the blur is applied on a grid this many times finer than the pixels
PERM = np.array([0, 5, 2, 7, 4, 1, 6, 3])  # staggers the sub-samples, so that straight edges are not quantised to 1/8 px


def mu_per_cm(material, energy_kev):
    """Linear attenuation in 1/cm of a NIST row or a laminate row at energies 20 to 150 keV, log-log interpolated."""
    energy_kev = np.asarray(energy_kev, float)
    if material in NIST:
        density, row = NIST[material]
        values = density * np.array(row)
    else:
        values = np.array(LAMINATE[material])
    return np.exp(np.interp(np.log(energy_kev), np.log(GRID), np.log(values)))


def tube(tube_kv, filter_mm_al=2.0, filter_mm_cu=0.0, bins=20):
    """A hardening beam: number of photons ~ (E0 - E)/E (Kramers), filtered, energy-integrating detector.

    Returns (energies_kev, weights summing to 1): each energy's share of the detector's signal in the open beam.
    """
    top = min(tube_kv, 150.0)
    edges = np.linspace(20.0, top, bins + 1)
    energy = 0.5 * (edges[1:] + edges[:-1])
    number = np.clip(tube_kv - energy, 0, None) / energy
    path = mu_per_cm("aluminium", energy) * filter_mm_al / 10 + mu_per_cm("copper", energy) * filter_mm_cu / 10
    weight = number * np.exp(-path) * energy
    return energy, weight / weight.sum()


def lines(*pairs):
    """A beam of single energies: (keV, weight) pairs."""
    energy = np.array([p[0] for p in pairs], float)
    weight = np.array([p[1] for p in pairs], float)
    return energy, weight / weight.sum()


def mean_kev(beam):
    """Signal-weighted mean energy in keV."""
    return float((beam[0] * beam[1]).sum())


# ---------------------------------------------------------------- shapes
class Circle:
    """Disk: centre and radius, mm."""

    def __init__(self, x, y, r):
        self.x, self.y, self.r = x, y, r

    def box(self):
        return self.x - self.r, self.y - self.r, self.x + self.r, self.y + self.r

    def contains(self, x, y):
        return (x - self.x) ** 2 + (y - self.y) ** 2 < self.r ** 2


class Track:
    """Straight line with round ends: two points and the full width, mm."""

    def __init__(self, x0, y0, x1, y1, width):
        self.a, self.b, self.r = (x0, y0), (x1, y1), width / 2

    def box(self):
        (x0, y0), (x1, y1), r = self.a, self.b, self.r
        return min(x0, x1) - r, min(y0, y1) - r, max(x0, x1) + r, max(y0, y1) + r

    def contains(self, x, y):
        dx, dy = self.b[0] - self.a[0], self.b[1] - self.a[1]
        length2 = dx * dx + dy * dy
        t = np.clip(((x - self.a[0]) * dx + (y - self.a[1]) * dy) / length2, 0, 1) if length2 > 0 else 0.0
        return (x - self.a[0] - t * dx) ** 2 + (y - self.a[1] - t * dy) ** 2 < self.r ** 2


class Polygon:
    """Closed simple polygon: corners in mm, even-odd rule."""

    def __init__(self, corners):
        self.c = np.asarray(corners, float)

    def box(self):
        lo, hi = self.c.min(0), self.c.max(0)
        return lo[0], lo[1], hi[0], hi[1]

    def contains(self, x, y):
        inside = np.zeros(np.broadcast(x, y).shape, bool)
        n = len(self.c)
        for i in range(n):
            x0, y0 = self.c[i]
            x1, y1 = self.c[(i + 1) % n]
            if y0 == y1:
                continue
            cross = (y0 > y) != (y1 > y)
            inside ^= cross & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)
        return inside


def rectangle(x, y, w, h, angle_deg=0.0):
    """Rectangle round (x, y), turned by `angle_deg`."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return Polygon([(x + c * u - s * v, y + s * u + c * v)
                    for u, v in ((-w / 2, -h / 2), (w / 2, -h / 2), (w / 2, h / 2), (-w / 2, h / 2))])


class Layer:
    """One copper layer: foil in um, `poured` everywhere or empty, then strokes (shape, copper?) in order."""

    def __init__(self, foil_um, poured=False):
        self.foil_um, self.poured, self.strokes = foil_um, poured, []

    def add(self, shape):
        self.strokes.append((shape, True))

    def cut(self, shape):
        self.strokes.append((shape, False))

    def contains(self, x, y):
        """Copper (before drilling) at points of a small neighbourhood."""
        out = np.full(np.broadcast(x, y).shape, self.poured)
        lo_x, hi_x, lo_y, hi_y = np.min(x), np.max(x), np.min(y), np.max(y)
        for shape, copper in self.strokes:
            x0, y0, x1, y1 = shape.box()
            if x1 < lo_x or x0 > hi_x or y1 < lo_y or y0 > hi_y:
                continue
            out[shape.contains(x, y)] = copper
        return out

    def paint(self, grid, mask, bit):
        if self.poured:
            mask |= bit
        for shape, copper in self.strokes:
            window = grid.window(shape.box())
            if window is None:
                continue
            rows, cols, x, y = window
            hit = shape.contains(x, y)
            view = mask[rows, cols]
            if copper:
                view[hit] |= bit
            else:
                view[hit] &= np.uint8(255 ^ bit)


class RasterLayer:
    """One copper layer from a fine picture: `copper[row, col]`, pitch in mm, centre of [0, 0] at (x0, y0) mm."""

    def __init__(self, foil_um, copper, pitch_mm, x0, y0):
        self.foil_um, self.copper, self.pitch, self.x0, self.y0 = foil_um, copper, pitch_mm, x0, y0

    def contains(self, x, y):
        col = np.rint((np.asarray(x) - self.x0) / self.pitch).astype(int)
        row = np.rint((np.asarray(y) - self.y0) / self.pitch).astype(int)
        inside = (row >= 0) & (col >= 0) & (row < self.copper.shape[0]) & (col < self.copper.shape[1])
        return self.copper[np.where(inside, row, 0), np.where(inside, col, 0)] & inside

    def paint(self, grid, mask, bit):
        for r0 in range(0, mask.shape[0], 512):  # in bands, for memory
            rows = slice(r0, min(r0 + 512, mask.shape[0]))
            x, y = grid.points(rows, slice(0, mask.shape[1]))
            mask[rows][self.contains(x, y)] |= bit


class Drill:
    """A drilled hole. `drill` = diameter outside of the plating (mm), plating in um (0: bare).

    bites: (angle_deg, radius) all within `radius` of that point of the wall becomes air through the whole depth;
    oval: r(angle) = drill/2 + oval cos 2(angle - axis); missing: arcs (from, to) without plating;
    slot_to: other end's centre; pin: (diameter, material, thickness) that fills it.
    """

    def __init__(self, x, y, drill, plating_um=0.0, bites=(), oval=0.0, oval_axis_deg=0.0, missing=(), slot_to=None,
                 pin=None, tags=()):
        self.x, self.y, self.drill, self.plating_um = x, y, drill, plating_um
        self.bites, self.oval, self.oval_axis_deg, self.missing = list(bites), oval, oval_axis_deg, list(missing)
        self.slot_to, self.pin, self.tags = slot_to, pin, list(tags)

    @property
    def plating(self):
        return self.plating_um / 1000

    def base_radius(self, angle_deg, shrink=0.0):
        """Radius of the drilled wall (less `shrink`) at an angle, bites left out."""
        return self.drill / 2 - shrink + self.oval * np.cos(2 * np.radians(np.asarray(angle_deg) - self.oval_axis_deg))

    def box(self):
        bite = max([b for _, b in self.bites], default=0.0)
        r = self.drill / 2 + abs(self.oval) + bite + 0.01
        xs, ys = [self.x], [self.y]
        if self.slot_to is not None:
            xs.append(self.slot_to[0])
            ys.append(self.slot_to[1])
        return min(xs) - r, min(ys) - r, max(xs) + r, max(ys) + r

    def in_wall(self, x, y, shrink=0.0):
        if self.slot_to is not None:
            return Track(self.x, self.y, *self.slot_to, self.drill - 2 * shrink).contains(x, y)
        dx, dy = x - self.x, y - self.y
        if self.oval == 0:
            return dx * dx + dy * dy < (self.drill / 2 - shrink) ** 2
        angle = np.degrees(np.arctan2(-dy, dx))
        return np.hypot(dx, dy) < self.base_radius(angle, shrink)

    def in_bite(self, x, y):
        hit = np.zeros(np.broadcast(x, y).shape, bool)
        for angle, radius in self.bites:
            r = float(self.base_radius(angle))
            cx, cy = self.x + r * math.cos(math.radians(angle)), self.y - r * math.sin(math.radians(angle))
            hit |= (x - cx) ** 2 + (y - cy) ** 2 < radius ** 2
        return hit

    def in_missing(self, x, y):
        angle = np.degrees(np.arctan2(-(y - self.y), x - self.x))
        hit = np.zeros(angle.shape, bool)
        for begin, end in self.missing:
            hit |= (angle - begin) % 360 <= (end - begin) % 360
        return hit

    def classify(self, x, y):
        """0 board, 1 air, 2 plating."""
        wall = self.in_wall(x, y)
        bite = self.in_bite(x, y) if self.bites else np.zeros(wall.shape, bool)
        out = (wall | bite).astype(np.uint8)
        if self.plating_um > 0:
            copper = wall & ~self.in_wall(x, y, self.plating) & ~bite
            if self.missing:
                copper &= ~self.in_missing(x, y)
            out[copper] = 2
        return out

    def drilled(self, x, y):
        """Where the drill (or a bite) took foil and laminate away."""
        return self.in_wall(x, y) | (self.in_bite(x, y) if self.bites else False)

    def air_radius(self, angle_deg):
        """Radius of the boundary of the air along rays (round and oval holes)."""
        angle = np.asarray(angle_deg, float)
        plated = np.full(angle.shape, self.plating_um > 0)
        for begin, end in self.missing:
            plated &= ~((angle - begin) % 360 <= (end - begin) % 360)
        return np.maximum(self.base_radius(angle) - np.where(plated, self.plating, 0.0), self.bite_radius(angle))

    def bite_radius(self, angle):
        out = np.zeros(angle.shape)
        for at, radius in self.bites:
            r = float(self.base_radius(at))
            phi = np.radians(angle - at)
            inner = radius ** 2 - (r * np.sin(phi)) ** 2
            reach = r * np.cos(phi) + np.sqrt(np.clip(inner, 0, None))
            out = np.where((inner > 0) & (np.cos(phi) > 0), np.maximum(out, reach), out)
        return out

    def wall_radius(self, angle_deg):
        """Where gaps start: the drilled wall, or the furthest void where a bite went deeper."""
        angle = np.asarray(angle_deg, float)
        return np.maximum(self.base_radius(angle), self.bite_radius(angle))


class Part:
    """Something in front of the board: shape, material ("tin", "steel", "copper", laminate name), thickness in mm."""

    def __init__(self, shape, material, thickness):
        self.shape, self.material, self.thickness = shape, material, thickness

    def hides(self):
        return self.material in ("tin", "steel", "copper") and self.thickness >= 0.05


class Board:
    """Field in px at `pixel_mm`, outline (a shape; None: the board fills the field), thickness, laminate, what lies on it."""

    def __init__(self, name, width_px, height_px, pixel_mm, thickness=1.6, laminate="plain", outline=None):
        self.name, self.width_px, self.height_px, self.pixel_mm = name, width_px, height_px, pixel_mm
        self.thickness, self.laminate, self.outline = thickness, laminate, outline
        self.layers, self.drills, self.parts = [], [], []


# ---------------------------------------------------------------- drawing
class Grid:
    """Staggered sub-samples of pixel rows [row0, row1) over the full width plus a margin of `pad` px on all sides."""

    def __init__(self, board, row0, row1, pad):
        self.p, self.pad, self.row0 = board.pixel_mm, pad, row0
        self.rows = (row1 - row0 + 2 * pad) * SUB
        self.cols = (board.width_px + 2 * pad) * SUB
        shift = (PERM + 0.5) / SUB
        self.base_x = np.arange(self.cols) / SUB - pad - 0.5
        self.base_y = np.arange(self.rows) / SUB + row0 - pad - 0.5
        self.shift_x = shift[np.arange(self.rows) % SUB] / SUB  # x shift depends on the row
        self.shift_y = shift[np.arange(self.cols) % SUB] / SUB

    def points(self, rows, cols):
        x = (self.base_x[cols][None, :] + self.shift_x[rows][:, None]) * self.p
        y = (self.base_y[rows][:, None] + self.shift_y[cols][None, :]) * self.p
        return x, y

    def window(self, box):
        x0, y0, x1, y1 = (v / self.p for v in box)
        c0 = max(0, int((x0 + 0.5 + self.pad) * SUB) - 2)
        c1 = min(self.cols, int((x1 + 0.5 + self.pad) * SUB) + 3)
        r0 = max(0, int((y0 + 0.5 + self.pad - self.row0) * SUB) - 2)
        r1 = min(self.rows, int((y1 + 0.5 + self.pad - self.row0) * SUB) + 3)
        if c0 >= c1 or r0 >= r1:
            return None
        rows, cols = slice(r0, r1), slice(c0, c1)
        x, y = self.points(rows, cols)
        return rows, cols, x, y


AIR_BIT, BARREL_BIT = 64, 128  # above the (up to six) layer bits


def material_code(board, grid):
    """One byte a sub-sample: layer bits, or air, or plating."""
    mask = np.zeros((grid.rows, grid.cols), np.uint8)
    for index, layer in enumerate(board.layers):
        layer.paint(grid, mask, np.uint8(1 << index))
    if board.outline is not None:
        outside = np.ones(mask.shape, bool)
        window = grid.window(board.outline.box())
        if window is not None:
            rows, cols, x, y = window
            outside[rows, cols] = ~board.outline.contains(x, y)
        mask[outside] = AIR_BIT
    for drill in board.drills:
        window = grid.window(drill.box())
        if window is None:
            continue
        rows, cols, x, y = window
        kind = drill.classify(x, y)
        view = mask[rows, cols]
        was_air = view == AIR_BIT  # a hole at the board edge has no wall in the air
        view[kind == 1] = AIR_BIT
        view[(kind == 2) & ~was_air] = BARREL_BIT
    return mask


def all_parts(board):
    """Parts and the pins that fill holes."""
    pins = [Part(Circle(d.x, d.y, d.pin[0] / 2), d.pin[1], d.pin[2]) for d in board.drills if d.pin]
    return list(board.parts) + pins


def part_paths(board, grid, shape):
    """Sub-sample paths through parts: one float image per material, mm (a sub-sample is fully in or out)."""
    paths = {}
    for part in all_parts(board):
        window = grid.window(part.shape.box())
        if window is None:
            continue
        rows, cols, x, y = window
        path = paths.setdefault(part.material, np.zeros(shape, np.float32))
        path[rows, cols] += part.thickness * part.shape.contains(x, y)
    return paths


def transmission_strip(board, beam, grid):
    """Transmission of every sub-sample in [0, 1], energy by energy."""
    mask = material_code(board, grid)
    paths = part_paths(board, grid, mask.shape)
    energy, weight = beam
    mu_cu, mu_lam = mu_per_cm("copper", energy), mu_per_cm(board.laminate, energy)
    foil = np.zeros(256)
    lam = np.full(256, board.thickness)
    for code in range(256):
        if code == AIR_BIT:
            foil[code], lam[code] = 0, 0
        elif code == BARREL_BIT:
            foil[code], lam[code] = board.thickness, 0
        else:
            foil[code] = sum(la.foil_um / 1000 for i, la in enumerate(board.layers) if code >> i & 1)
    table = np.exp(-(foil[:, None] * mu_cu + lam[:, None] * mu_lam) / 10)
    out = (table @ weight).astype(np.float32)[mask]
    if paths:
        busy = np.zeros(mask.shape, bool)
        for path in paths.values():
            busy |= path > 0
        total = table[mask[busy]] * weight
        for material, path in paths.items():
            total *= np.exp(-path[busy][:, None] * mu_per_cm(material, energy) / 10)
        out[busy] = total.sum(1)
    return out


def block_mean(image, n):
    h, w = image.shape
    return image.reshape(h // n, n, w // n, n).mean((1, 3), dtype=np.float64).astype(np.float32)


def draw(board, beam, blur_sigma_px, strip=192):
    """Noise-free transmission (open beam 1): sub-samples, then Gaussian blur, then the pixel's area. float32."""
    pad = int(math.ceil(5 * blur_sigma_px)) + 1
    out = np.empty((board.height_px, board.width_px), np.float32)
    for row0 in range(0, board.height_px, strip):
        row1 = min(row0 + strip, board.height_px)
        grid = Grid(board, row0, row1, pad)
        fine = block_mean(transmission_strip(board, beam, grid), SUB // BLUR_GRID)
        if blur_sigma_px > 0:
            fine = ndimage.gaussian_filter(fine, blur_sigma_px * BLUR_GRID, mode="nearest", truncate=5)
        out[row0:row1] = block_mean(fine, BLUR_GRID)[pad:-pad, pad:-pad]
    return out


def heel_field(board, share, angle_deg):
    """Open beam: 1 at one edge, falling smoothly (slightly curved) by `share` to the other."""
    x = np.arange(board.width_px) / max(board.width_px - 1, 1) - 0.5
    y = np.arange(board.height_px) / max(board.height_px - 1, 1) - 0.5
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    u = (c * x[None, :] - s * y[:, None]) / (abs(c) + abs(s)) + 0.5
    return (1 - share * (0.8 * u + 0.2 * u * u)).astype(np.float32)


def expose(board, trans, shot, rng):
    """The stored picture. `shot`: dict with photons, readout, heel, heel_angle_deg, gain, offset, inverted, bits."""
    signal = trans * heel_field(board, shot["heel"], shot["heel_angle_deg"])
    if shot["photons"]:
        signal = rng.poisson(signal.astype(np.float64) * shot["photons"]) / shot["photons"]
    if shot["readout"]:
        signal = signal + rng.normal(0, shot["readout"], signal.shape)
    top = 255 if shot["bits"] == 8 else 65535
    value = np.clip(np.rint(shot["offset"] + shot["gain"] * signal), 0, top)
    if shot["inverted"]:
        value = top - value
    return value.astype(np.uint8 if shot["bits"] == 8 else np.uint16)


# ---------------------------------------------------------------- truth
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
    truth["furthest_void_mm"] = float(air.max())
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
