# SPDX-License-Identifier: Apache-2.0
"""The accuracy table of the README, in markdown, from the summaries that score.py wrote.

    table.py SUMMARIES.json
"""
import json
import sys

GOALS = {"bore_bare": "0.05", "bore_plated": "0.08", "bore_via": "none set", "centre_hole": "0.04", "keepout": "0.06",
         "keepout_narrow": "0.06", "keepout_thin": "none"}
WORDS = {"bore_bare": "bore, bare hole", "bore_plated": "bore, plated hole", "bore_via": "bore, via",
         "centre_hole": "centre of a hole, both axes", "keepout": "keep-out", "keepout_narrow": "keep-out under 3 px",
         "keepout_thin": "keep-out, copper thinner than said to show"}


def share(part, whole):
    return f"{part} of {whole}"


def right(table):
    """(right, all) of a table of 'true -> said' counts."""
    same = sum(n for pair, n in table.items() if len(set(pair.split(" -> "))) == 1)
    return same, sum(table.values())


def main():
    summaries = json.load(open(sys.argv[1]))
    s, parts = summaries["all"], summaries.get("style parts")
    print("| question | answered |\n|---|---|")
    print(f"| holes and vias missed | {share(s['missed'], s['holes'])} |")
    if parts:
        print(f"| of these on populated boards | {share(parts['missed'], parts['holes'])} |")
    print(f"| invented | {s['invented']} |")
    print(f"| wall of a hole right | {share(*right(s['wall_hardware']))} |")
    print(f"| wall of a via right | {share(*right(s['wall_via']))} |")
    print(f"| state of the ring right | {share(*right(s['state']))} |")
    shape = s["shape"]
    print(f"| round holes called out of round; left undecided | {share(shape['accused'], shape['circles'])}; {shape['undecided']} |")
    print(f"| worn or oval holes not called out of round | {share(shape['worn_not_said'], shape['worn'])} |")
    wrong = s["touching"]
    print(f"| touching said where it is not, missed where it is | {wrong['false touching']}, {wrong['missed touching']} |")
    print("\n| length, px | n | bias | RMS | goal | what noise allows | half are within | within U |\n|---|---|---|---|---|---|---|---|")
    for key, words in WORDS.items():
        f = s.get(key)
        if f:
            print(f"| {words} | {f['n']} | {f['bias']:+.3f} | {f['rms']:.3f} | {GOALS[key]} | {f['bound']:.3f} | "
                  f"{f['median_abs']:.3f} | {100 * f['within_2u']:.0f} % |")
    p, w = s["plating"], s["imperfect"]
    if p.get("n"):
        print(f"\nPlating of {p['n']} holes: bias {p['bias_percent']:+.1f} %, RMS {p['rms_percent']:.1f} %, "
              f"{100 * p['within_10_percent']:.0f} % within 10 %, {100 * p['within_2u']:.0f} % within U.")
    if w.get("n"):
        print(f"\n{w['n']} holes that are worn, torn or partly hidden: contour RMS {w['contour_rms']:.2f} px, furthest void "
              f"{w['void_rms']:.2f} px, gap along the ring {w['gap_rms']:.2f} px; {w['missing_arcs_wrong']} of {w['missing_arcs']} "
              f"missing arcs and {w['touching_arcs_wrong']} of {w['touching_arcs']} touching arcs off by more than 15 degrees; "
              f"gaps stated behind a part: {w['gaps_stated_behind_parts']}.")


main()
