"""What every certificate warns of, and what it can and cannot prove.

Rules of the United States are named because the shops are there; each text defers to the codes of the place and to
licensed practice. 29 CFR 1910.177 (a)(2), (d), (f): servicing of rim wheels. 1910.147: stored energy. 1910.106 and
1910.1200: flammable liquids, labels and data sheets.
"""

from __future__ import annotations

__all__ = ["DEFERENCE", "INFLATION", "PROVES", "SHOP_CAUTIONS"]

DEFERENCE = (
    "Where local codes, standards, the makers' instructions or licensed practice say more than this page, they decide."
)

PROVES = (
    "It shows what the mats and the bag did while this section cured, and how far the rubber cured by that record.",
    "It shows that nobody without the shop's key has changed the record since it was sealed. It cannot show that the"
    " shop itself did not seal another in its place: that is why the code below should be kept.",
    "It does not show adhesion, cords or moisture, nor damage elsewhere in the tire. Those are for a competent"
    " person's inspection, which stands apart.",
)

INFLATION = (
    "Inflating a repaired tire can kill. First inflation belongs in a restraining device or behind a barrier, from a"
    " distance through a clip-on chuck and a remote valve, with everyone out of the trajectory, by trained people."
    " In the United States see 29 CFR 1910.177 (its paragraph (a)(2) leaves construction and agriculture to other"
    " parts).",
    "Never heat, weld or braze a wheel or rim part with a tire on it; 29 CFR 1910.177(f) forbids heating multi-piece"
    " wheel parts.",
    "Have the repair looked at before and after the first hours of work and at every later inspection. Take the tire"
    " out of service at once if the repair bulges, lifts, cracks or leaks.",
)

SHOP_CAUTIONS = (
    "This certificate speaks of the cure record only. Adhesion, cords and moisture cannot be seen in it: they are"
    " for a competent person's inspection, which is recorded apart.",
    "Press-monitor watches and records. It is no safety device and no controller.",
    *INFLATION[:2],
    "A hot press, a bag under pressure and a locked ram hold energy that can kill: 29 CFR 1910.147 (stored energy)."
    " Cement and its solvents: 29 CFR 1910.106 and 1910.1200; a mat at cure heat can light their vapour.",
    DEFERENCE,
)
