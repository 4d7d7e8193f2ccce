# SPDX-License-Identifier: Apache-2.0
"""Synthetic face-on radiographs of printed boards: geometry, beam, drawing, exposure. Their exact truth: truth.py.

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
from scipy import ndimage

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
