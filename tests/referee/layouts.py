# SPDX-License-Identifier: Apache-2.0
"""Random boards for the referee: invented layouts of many habits, and random ways of taking the picture.

Lengths in mm, angles in degrees. A seed gives the same board on every machine (numpy's PCG64).
"""
import math

import numpy as np

import boards as b

STYLES = ("plain", "dense", "narrow", "layers", "worn", "parts", "edge", "laminate", "label")


def random_shot(rng, pixel_mm=None, blur=None, photons=None, beam=None):
    """How one picture is taken: pixel, blur, photons, beam and the way the values are stored."""
    beams = {"soft": b.tube(60, 1.5), "middle": b.tube(90, 2.5), "hard": b.tube(130, 4, 0.3), "very_hard": b.tube(160, 4, 1.0),
             "line40": b.lines((40, 1)), "line60": b.lines((60, 1)), "pair": b.lines((45, 0.6), (80, 0.4)),
             "line80": b.lines((80, 1))}
    name = beam or str(rng.choice(list(beams)))
    bits = 8 if rng.random() < 0.12 else 16
    photons = photons or float(np.exp(rng.uniform(math.log(1200), math.log(12000))))
    return {"pixel_mm": pixel_mm or float(rng.uniform(0.020, 0.030)), "blur": blur or float(rng.uniform(0.8, 1.6)),
            "photons": photons, "readout": float(rng.choice([0, 0.002, 0.005])), "beam": name,
            "heel": float(rng.choice([0, rng.uniform(0, 0.2)])), "heel_angle_deg": float(rng.uniform(0, 360)),
            "gain": 215.0 if bits == 8 else float(rng.uniform(25000, 55000)),
            "offset": 0.0, "inverted": bool(rng.random() < 0.4), "bits": bits}, beams[name]


class Maker:
    """Fills one board: keeps what is placed apart, draws holes, copper and parts by recipe."""

    def __init__(self, rng, board, layer_count, style):
        self.rng, self.board, self.style = rng, board, style
        self.w, self.h = (board.width_px - 1) * board.pixel_mm, (board.height_px - 1) * board.pixel_mm
        self.taken = []  # (x, y, radius): nothing else comes in there
        foils = rng.choice([18, 35, 35, 70], layer_count if rng.random() < 0.4 else 1)
        foils = np.resize(foils, layer_count)
        self.layers = [b.Layer(float(f)) for f in foils]
        board.layers = self.layers
        self.planes = []

    def inside(self, x, y, r):
        box = self.board.outline.box() if self.board.outline is not None else (0, 0, self.w, self.h)
        return x - r > box[0] and y - r > box[1] and x + r < box[2] and y + r < box[3]

    def place(self, r, tries=200, margin=0.25):
        for _ in range(tries):
            x, y = self.rng.uniform(0, self.w), self.rng.uniform(0, self.h)
            if self.inside(x, y, r + margin) and self.free(x, y, r):
                self.taken.append((x, y, r))
                return x, y
        return None

    def free(self, x, y, r):
        return all(math.hypot(x - q[0], y - q[1]) > r + q[2] for q in self.taken)

    def pour(self):
        """One or two planes; in the laminate style none, in the dense one part planes too."""
        n = len(self.layers)
        if self.style == "laminate":
            return
        count = 1 if n == 2 else int(self.rng.integers(1, 3))
        self.planes = list(self.rng.choice(np.arange(n) if n == 2 else np.arange(1, n - 1), count, replace=False))
        for index in self.planes:
            if self.board.outline is not None:
                x0, y0, x1, y1 = self.board.outline.box()
                self.layers[index].add(b.Polygon([(x0 + .4, y0 + .4), (x1 - .4, y0 + .4), (x1 - .4, y1 - .4), (x0 + .4, y1 - .4)]))
            else:
                self.layers[index].poured = True
        if self.rng.random() < 0.5:  # a part plane on another layer
            others = [i for i in range(n) if i not in self.planes]
            if others:
                index = int(self.rng.choice(others))
                cx, cy = self.rng.uniform(0.2, 0.8) * self.w, self.rng.uniform(0.2, 0.8) * self.h
                w, h = self.rng.uniform(0.2, 0.5) * self.w, self.rng.uniform(0.2, 0.5) * self.h
                x0, x1, y0, y1 = max(cx - w / 2, 1), min(cx + w / 2, self.w - 1), max(cy - h / 2, 1), min(cy + h / 2, self.h - 1)
                self.layers[index].add(b.Polygon([(x0, y0), (x1, y0), (x1 - .4, y1), (x0, y1 - .7)]))
                self.planes.append(index)

    def antipad(self, index, x, y, radius, kind="circle"):
        if kind == "circle":
            self.layers[index].cut(b.Circle(x, y, radius))
        else:
            n = int(self.rng.choice([4, 6, 8]))
            turn = self.rng.uniform(0, 360)
            corners = [(x + radius / math.cos(math.pi / n) * math.cos(2 * math.pi * k / n + turn),
                        y + radius / math.cos(math.pi / n) * math.sin(2 * math.pi * k / n + turn)) for k in range(n)]
            self.layers[index].cut(b.Polygon(corners))

    def clear_all(self, x, y, radius):
        for index in self.planes:
            self.antipad(index, x, y, radius)

    # ------------------------------------------------------------ holes
    def bare_hole(self):
        rng, p = self.rng, self.board.pixel_mm
        drill = float(rng.uniform(1.6, 4.2))
        gap = float(rng.uniform(0.25, 1.0))
        ring = "plain"
        if self.style == "narrow":
            gap, ring = float(rng.uniform(0, 3.0)) * p, str(rng.choice(["plain", "eccentric", "touching"]))
        elif rng.random() < 0.45:
            ring = str(rng.choice(["eccentric", "touching", "polygon", "tip"]))
        spot = self.place(drill / 2 + gap + 0.9)
        if spot is None:
            return
        x, y = spot
        off_angle, off = rng.uniform(0, 2 * math.pi), 0.0
        if ring == "eccentric":
            off = rng.uniform(0.2, 0.9) * gap
        elif ring == "touching":
            gap = max(gap, 3 * p)
            off = rng.uniform(1.1, 1.6) * gap
        for k, index in enumerate(self.planes):
            here = gap * (1 if self.style not in ("layers",) or k == 0 else rng.uniform(0.6, 1.8))
            self.antipad(index, x + off * math.cos(off_angle), y - off * math.sin(off_angle), drill / 2 + here,
                         "polygon" if ring == "polygon" else "circle")
        if ring == "tip":
            self.trace_tip(x, y, drill / 2, rng.uniform(0.15, 0.8) * gap)
        hole = b.Drill(x, y, drill, tags=["bare", ring])
        self.board.drills.append(hole)
        if rng.random() < 0.15 and self.style in ("plain", "layers"):
            self.silk_ring_traces(x, y, drill / 2 + gap)

    def trace_tip(self, x, y, r, gap):
        """A trace that ends on the ring of the hole, `gap` from the wall."""
        rng = self.rng
        width = float(rng.uniform(0.1, 0.3))
        a = rng.uniform(0, 2 * math.pi)
        start = r + gap + width / 2
        index = int(rng.integers(len(self.layers)))
        c, s = math.cos(a), math.sin(a)
        self.layers[index].add(b.Track(x + start * c, y - start * s, x + (start + 2) * c, y - (start + 2) * s, width))

    def silk_ring_traces(self, x, y, r):
        """A trace that runs past the hole on an outer layer."""
        rng = self.rng
        a, d, width = rng.uniform(0, 2 * math.pi), r + rng.uniform(0.1, 0.5), float(rng.uniform(0.12, 0.25))
        c, s = math.cos(a), math.sin(a)
        px, py = x + d * c, y - d * s
        self.layers[0].add(b.Track(px - 3 * s, py - 3 * c, px + 3 * s, py + 3 * c, width))

    def plated_hole(self):
        rng = self.rng
        drill = float(rng.uniform(1.1, 4.2))
        land = drill / 2 + float(rng.uniform(0.2, 0.7))
        clear = land + float(rng.uniform(0.2, 0.7))
        spot = self.place(clear + 0.5)
        if spot is None:
            return
        x, y = spot
        joined = str(rng.choice(["none", "none", "spokes", "solid", "trace"])) if self.planes else str(rng.choice(["none", "trace"]))
        partner = self.planes[0] if self.planes else None
        lands = [0, len(self.layers) - 1] if rng.random() < 0.85 else []
        if rng.random() < 0.5 or not lands:
            lands += [i for i in range(len(self.layers)) if i not in self.planes]
        for index in self.planes:
            if joined == "solid" and index == partner:
                continue
            self.antipad(index, x, y, clear * (1 if self.style != "layers" else rng.uniform(0.95, 1.3)))
            if joined == "spokes" and index == partner:
                self.layers[index].add(b.Circle(x, y, land))
                self.spokes(index, x, y, clear)
        for index in set(lands):
            if not (joined == "solid" and index == partner):
                self.layers[index].add(b.Circle(x, y, land))
        if joined == "trace":
            a = rng.uniform(0, 2 * math.pi)
            index = 0 if 0 not in self.planes else len(self.layers) - 1
            if index not in self.planes:
                self.layers[index].add(b.Track(x, y, x + 4 * math.cos(a), y - 4 * math.sin(a), float(rng.uniform(0.15, 0.5))))
        self.board.drills.append(b.Drill(x, y, drill, float(rng.uniform(20, 35)), tags=["plated", joined]))

    def spokes(self, index, x, y, clear):
        rng = self.rng
        count, width, turn = int(rng.choice([2, 3, 4, 4])), float(rng.uniform(0.2, 0.6)), rng.uniform(0, 2 * math.pi)
        for k in range(count):
            a = turn + 2 * math.pi * k / count
            reach = clear + 0.2
            self.layers[index].add(b.Track(x, y, x + reach * math.cos(a), y - reach * math.sin(a), width))

    def via(self, at=None, finished=None):
        rng = self.rng
        finished = finished or float(rng.choice([0.3, 0.3, 0.35, 0.4, 0.5]))
        plating = float(rng.uniform(18, 30))
        drill = finished + 2 * plating / 1000
        land = drill / 2 + float(rng.uniform(0.1, 0.2))
        spot = at or self.place(land + 0.2)
        if spot is None:
            return
        x, y = spot
        joined = int(rng.choice(self.planes)) if self.planes and rng.random() < 0.4 else -1
        for index in self.planes:
            if index != joined:
                self.antipad(index, x, y, land + float(rng.uniform(0.1, 0.25)))
        for index in {0, len(self.layers) - 1}:
            if index != joined:
                self.layers[index].add(b.Circle(x, y, land))
        self.board.drills.append(b.Drill(x, y, drill, plating, tags=["via"]))

    def via_field(self):
        """A tight grid of vias, pitch down to 0.65 mm."""
        rng = self.rng
        nx, ny, pitch = int(rng.integers(4, 9)), int(rng.integers(3, 6)), float(rng.uniform(0.65, 1.0))
        r = math.hypot(nx * pitch, ny * pitch) / 2
        spot = self.place(r)
        if spot is None:
            return
        turn = rng.choice([0.0, rng.uniform(0, math.pi / 2)])
        c, s = math.cos(turn), math.sin(turn)
        for i in range(nx):
            for j in range(ny):
                u, v = (i - (nx - 1) / 2) * pitch, (j - (ny - 1) / 2) * pitch
                self.via((spot[0] + c * u - s * v, spot[1] + s * u + c * v), 0.3)

    def worn_hole(self):
        """Bites, ovals, plating missing over an arc, rings worn through, slots, filled holes."""
        rng, p = self.rng, self.board.pixel_mm
        drill = float(rng.uniform(2.2, 4.0))
        what = str(rng.choice(["bite", "bites", "oval", "missing", "plated_bite", "slot", "filled", "worn_ring"]))
        gap = float(rng.uniform(0.4, 0.9))
        spot = self.place(drill / 2 + gap + 1.2)
        if spot is None:
            return
        x, y = spot
        hole = b.Drill(x, y, drill, tags=["worn", what])
        a = float(rng.uniform(0, 360))
        if what in ("bite", "plated_bite", "worn_ring"):
            depth = gap * 1.15 if what == "worn_ring" else float(rng.uniform(4, 9)) * p
            hole.bites = [(a, depth)]
        if what == "bites":
            hole.bites = [(a, float(rng.uniform(4, 7)) * p), ((a + rng.uniform(80, 200)) % 360, float(rng.uniform(4, 9)) * p)]
        if what == "oval":
            hole.oval, hole.oval_axis_deg = float(rng.uniform(1.5, 5)) * p, a
        if what in ("missing", "plated_bite"):
            hole.plating_um = float(rng.uniform(22, 35))
        if what == "missing":
            hole.missing = [(a, (a + float(rng.uniform(40, 160))) % 360)]
        if what == "slot":
            length = float(rng.uniform(0.5, 1.5))
            hole.slot_to = (x + length * math.cos(math.radians(a)), y - length * math.sin(math.radians(a)))
            hole.plating_um = float(rng.choice([0, 25]))
            self.taken.append((*hole.slot_to, drill / 2 + gap + 1.2))
        if what == "filled":
            hole.pin = (drill * float(rng.choice([0.93, 0.8])), "steel", float(rng.uniform(3, 10)))
        for index in self.planes:
            if what == "slot":
                self.layers[index].cut(b.Track(x, y, *hole.slot_to, drill + 2 * gap))
            else:
                self.antipad(index, x, y, drill / 2 + gap)
        if hole.plating_um > 0 and what != "slot":
            for index in {0, len(self.layers) - 1}:
                self.layers[index].add(b.Circle(x, y, drill / 2 + 0.5 * gap))
        self.board.drills.append(hole)

    def edge_hole(self):
        """A hole close to the board's edge (or cut by it)."""
        rng = self.rng
        box = self.board.outline.box() if self.board.outline is not None else None
        if box is None:
            return
        drill = float(rng.uniform(2.0, 3.6))
        gap = float(rng.uniform(0.25, 0.6))
        inset = drill / 2 + float(rng.uniform(0.25, 1.0))
        for _ in range(100):
            side = int(rng.integers(4))
            x = box[0] + inset if side == 0 else box[2] - inset if side == 1 else rng.uniform(box[0] + 3, box[2] - 3)
            y = box[1] + inset if side == 2 else box[3] - inset if side == 3 else rng.uniform(box[1] + 3, box[3] - 3)
            if self.free(x, y, drill / 2 + gap + 0.4):
                break
        else:
            return
        self.taken.append((x, y, drill / 2 + gap + 0.4))
        self.clear_all(x, y, drill / 2 + gap)
        plating = float(rng.choice([0, 0, rng.uniform(20, 35)]))
        if plating:
            self.layers[0].add(b.Circle(x, y, drill / 2 + 0.5 * gap))
        self.board.drills.append(b.Drill(x, y, drill, plating, tags=["edge", "plated" if plating else "bare"]))

    # ------------------------------------------------------------ the rest of the copper
    def traces(self, count):
        rng = self.rng
        outer = [i for i in range(len(self.layers)) if i not in self.planes] or [0]
        for _ in range(count):
            index, width = int(rng.choice(outer)), float(rng.uniform(0.1, 0.35))
            x, y = rng.uniform(0, self.w), rng.uniform(0, self.h)
            a = float(rng.choice([0, 45, 90, 135, rng.uniform(0, 180)]))
            for _ in range(int(rng.integers(1, 5))):
                length = rng.uniform(1, 7)
                nx, ny = x + length * math.cos(math.radians(a)), y - length * math.sin(math.radians(a))
                if not self.track_free(x, y, nx, ny, width):
                    break
                self.layers[index].add(b.Track(x, y, nx, ny, width))
                x, y, a = nx, ny, a + float(rng.choice([-45, 45]))

    def track_free(self, x0, y0, x1, y1, width):
        n = max(2, int(math.hypot(x1 - x0, y1 - y0) / 0.1))
        for t in np.linspace(0, 1, n):
            x, y = x0 + t * (x1 - x0), y0 + t * (y1 - y0)
            if not self.inside(x, y, width / 2 + 0.3):
                return False
            if any(math.hypot(x - q[0], y - q[1]) < q[2] - 0.15 + width / 2 for q in self.taken):
                return False
        return True

    def text(self, count):
        """Copper text: words of stroke letters on an outer layer."""
        rng = self.rng
        strokes = {"H": [(0, 0, 0, 1), (.6, 0, .6, 1), (0, .5, .6, .5)], "O": [(0, 0, .6, 0), (.6, 0, .6, 1), (.6, 1, 0, 1), (0, 1, 0, 0)],
                   "T": [(0, 0, .6, 0), (.3, 0, .3, 1)], "8": [(0, 0, .6, 0), (0, .5, .6, .5), (0, 1, .6, 1), (0, 0, 0, 1), (.6, 0, .6, 1)],
                   "A": [(0, 1, .3, 0), (.3, 0, .6, 1), (.15, .6, .45, .6)], "E": [(0, 0, 0, 1), (0, 0, .6, 0), (0, .5, .5, .5), (0, 1, .6, 1)],
                   "C": [(.6, 0, 0, 0), (0, 0, 0, 1), (0, 1, .6, 1)], "0": [(.3, 0, .6, .3), (.6, .3, .6, .7), (.6, .7, .3, 1), (.3, 1, 0, .7), (0, .7, 0, .3), (0, .3, .3, 0)]}
        for _ in range(count):
            size = float(rng.uniform(0.7, 1.8))
            word = rng.choice(list(strokes), int(rng.integers(3, 8)))
            w = size * 0.85 * len(word)
            spot = self.place(w / 2)
            if spot is None:
                continue
            index = 0 if rng.random() < 0.6 else len(self.layers) - 1
            if index in self.planes:
                continue
            for k, letter in enumerate(word):
                ox, oy = spot[0] - w / 2 + k * size * 0.85, spot[1] - size / 2
                for x0, y0, x1, y1 in strokes[str(letter)]:
                    self.layers[index].add(b.Track(ox + size * x0, oy + size * y0, ox + size * x1, oy + size * y1, size * 0.14))

    def pads(self, count):
        """Surface pads, round and square (things that look like lands but have no hole)."""
        rng = self.rng
        for _ in range(count):
            r = float(rng.uniform(0.15, 0.7))
            spot = self.place(r * 1.5)
            if spot is None:
                continue
            shape = b.Circle(*spot, r) if rng.random() < 0.4 else b.rectangle(*spot, 2 * r, rng.uniform(0.8, 2) * r, rng.choice([0, 90, 45]))
            self.layers[0 if rng.random() < 0.5 else len(self.layers) - 1].add(shape)

    def ring_decoy(self):
        """Copper rings and clear disks without any hole: nothing to find."""
        rng = self.rng
        r = float(rng.uniform(0.3, 1.5))
        spot = self.place(r + 0.7)
        if spot is None:
            return
        if rng.random() < 0.5:
            self.layers[0].add(b.Circle(*spot, r + float(rng.uniform(0.1, 0.4))))
            self.layers[0].cut(b.Circle(*spot, r))
        else:
            self.clear_all(*spot, r)

    # ------------------------------------------------------------ in front
    def parts(self, count):
        rng = self.rng
        for _ in range(count):
            kind = str(rng.choice(["ball", "lead", "chip", "steel", "passive", "body"]))
            x, y = rng.uniform(1, self.w - 1), rng.uniform(1, self.h - 1)
            add = self.board.parts.append
            if kind == "ball":
                n, pitch = int(rng.integers(2, 6)), float(rng.uniform(0.65, 1.0))
                for i in range(n):
                    for j in range(n):
                        add(b.Part(b.Circle(x + i * pitch, y + j * pitch, 0.2), "tin", 0.3))
            elif kind == "lead":
                for i in range(int(rng.integers(3, 10))):
                    add(b.Part(b.rectangle(x + i * 0.65, y, 0.3, 1.2), "copper", 0.15))
                    add(b.Part(b.rectangle(x + i * 0.65, y + 0.4, 0.3, 0.5), "tin", 0.05))
            elif kind == "chip":
                w = float(rng.uniform(2, 5))
                add(b.Part(b.rectangle(x, y, w, w, rng.choice([0, 45])), "plain", 1.0))
                add(b.Part(b.rectangle(x, y, 0.5 * w, 0.5 * w), "copper", 0.2))
            elif kind == "steel":
                add(b.Part(b.rectangle(x, y, rng.uniform(1, 3), rng.uniform(2, 7), rng.uniform(0, 180)), "steel", float(rng.uniform(0.2, 1.0))))
            elif kind == "passive":
                for side in (-1, 1):
                    add(b.Part(b.rectangle(x + side * 0.7, y, 0.4, 0.9), "tin", 0.15))
            else:
                add(b.Part(b.rectangle(x, y, rng.uniform(3, 8), rng.uniform(3, 8)), "plain", float(rng.uniform(1, 4))))

    def part_over_hole(self):
        """Something dense that covers part of a hole's turn."""
        rng = self.rng
        holes = [d for d in self.board.drills if d.drill > 1.5 and d.slot_to is None and not d.pin]
        if not holes:
            return
        d = holes[int(rng.integers(len(holes)))]
        a = rng.uniform(0, 2 * math.pi)
        w = float(rng.uniform(0.8, 2.0))
        reach = d.drill / 2 + float(rng.uniform(0.0, 0.3))
        cx, cy = d.x + (reach + 1.0) * math.cos(a), d.y - (reach + 1.0) * math.sin(a)
        self.board.parts.append(b.Part(b.rectangle(cx, cy, 2.6, w, -math.degrees(a)), str(rng.choice(["tin", "steel", "copper"])),
                                       float(rng.uniform(0.25, 0.8))))


def random_board(seed, style, shot, size_mm=(28, 22)):
    """One invented board in a style of STYLES."""
    rng = np.random.default_rng([seed, 77])
    p = shot["pixel_mm"]
    w, h = int(size_mm[0] / p), int(size_mm[1] / p)
    outline = None
    if style == "edge" or rng.random() < 0.35:
        margin = float(rng.uniform(0.5, 1.5))
        outline = b.rectangle(w * p / 2, h * p / 2, w * p - 2 * margin, h * p - 2 * margin, 0)
    board = b.Board(f"{style}-{seed}", w, h, p, float(rng.choice([0.8, 1.2, 1.6, 1.6, 1.6, 2.0, 2.4])),
                    str(rng.choice(["plain", "plain", "brominated"])), outline)
    m = Maker(rng, board, int(rng.choice([2, 4, 4, 6])), style)
    m.pour()
    if style == "edge":
        for _ in range(6):
            m.edge_hole()
    for _ in range({"dense": 2, "worn": 2}.get(style, 5)):
        m.bare_hole()
    for _ in range({"dense": 3, "worn": 2}.get(style, 5)):
        m.plated_hole()
    if style == "worn":
        for _ in range(12):
            m.worn_hole()
    if style == "dense":
        for _ in range(4):
            m.via_field()
    for _ in range({"dense": 60, "plain": 30}.get(style, 16)):
        m.via()
    for _ in range(int(rng.integers(0, 4))):
        m.ring_decoy()
    m.text(int(rng.integers(1, 5)))
    m.pads(25 if style != "laminate" else 8)
    m.traces({"dense": 60, "laminate": 10}.get(style, 35))
    if style == "parts":
        m.parts(8)
        for _ in range(4):
            m.part_over_hole()
    return board


def burn_label(picture, rng, top):
    """Burned-in text as saturated strokes and a box: done on the stored values, as a cabinet does.

    Returns the boxes (x0, y0, x1, y1) in px that were written on.
    """
    h, w = picture.shape
    boxes = []
    for _ in range(2):
        x, y = int(rng.integers(10, w - 220)), int(rng.integers(10, h - 60))
        level = top if rng.random() < 0.5 else 0
        boxes.append((x, y, x + 200, y + 40))
        if rng.random() < 0.5:
            picture[y:y + 40, x:x + 200] = top - level
        for k in range(8):
            x0 = x + 8 + 24 * k
            for stroke in rng.choice(4, 3, replace=False):
                if stroke == 0:
                    picture[y + 8:y + 11, x0:x0 + 14] = level
                elif stroke == 1:
                    picture[y + 29:y + 32, x0:x0 + 14] = level
                elif stroke == 2:
                    picture[y + 8:y + 32, x0:x0 + 3] = level
                else:
                    picture[y + 8:y + 32, x0 + 11:x0 + 14] = level
    return boxes
