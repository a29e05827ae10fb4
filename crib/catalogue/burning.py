"""Which work materials throw chips that burn, told from what somebody called them.

No figure of a material tells it, so its name must: the metal's own word, or a designation that begins with its symbol.
The symbol further back is only an addition (X6CrNiTi18-10 is a steel, AlMg4.5Mn an aluminium). Numbers and codes are
read by the systems of the standards: ASTM B275 names magnesium alloys by two letters of the largest additions and two
figures (AZ91), UNS has R5xxxx for titanium and M1xxxx for magnesium, the German material numbers 3.7xxx and 3.5xxx, and
EN 1754 EN-MC and EN-MB for magnesium; all of these from memory. A name that is not known here gives no caution, but for
ISO 513 group S, which holds titanium beside nickel and cobalt.
"""

from __future__ import annotations

import re

from crib.catalogue.models import WorkMaterial

# Water feeds burning magnesium, which gives hydrogen with it: common practice, no source.
TITANIUM = "Titanium chips burn: keep them wet and cleared away."
MAGNESIUM = (
    "Magnesium chips burn, and water feeds the fire: keep them dry and cleared away, and the right powder to put it "
    "out at hand."
)
PERHAPS_TITANIUM = "If this is a titanium alloy, its chips burn: keep them wet and cleared away."

# What stands before a designation: the beginning, or whatever is neither a letter, a figure nor the point of a number.
_ALONE = r"(?<![A-Za-z0-9.])"
_TITANIUM = re.compile(
    rf"[Tt][Ii][Tt][Aa][Nn]"
    rf"|{_ALONE}(?:Ti(?=[^a-z]|$)(?!N\b|C\b|AlN\b)|[Tt][Ii](?=[-\s]?\d|$)|[Tt][AaCc]\d{{1,2}}(?:[Vv]|[^0-9A-Za-z.]|$)|3\.7\d{{3}}(?!\d)"
    rf"|R5\d{{4}}(?!\d))"
)
_MAGNESIUM = re.compile(
    rf"[Mm][Aa][Gg][Nn][Ee][Ss]"
    rf"|{_ALONE}(?:(?:EN[-\s]?)?(?:M[CB][-\s]?)?M[gG](?=[^a-z]|$)|EN[-\s]?M[CB][-\s]?\d{{5}}"
    rf"|(?i:A[EJMSXZ]|E[VZ]|HK|QE|WE|Z[CEKM])\d{{2}}(?!\d)|3\.5\d{{3}}(?!\d)|M1\d{{4}}(?!\d))"
)


def burning_caution(material: WorkMaterial) -> str:
    """The sentence for whoever cuts this material; empty when nothing is known to burn.

    Where a name could mean either, magnesium is said: its chips must not be kept wet.
    """
    if _MAGNESIUM.search(material.name):
        return MAGNESIUM
    if _TITANIUM.search(material.name):
        return TITANIUM
    return PERHAPS_TITANIUM if material.iso_group == WorkMaterial.Group.S else ""
