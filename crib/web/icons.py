"""Our own line drawings, on a field of 24 by 24; each is decoration beside a word, never instead of one."""

from __future__ import annotations

ICONS: dict[str, str] = {
    "today": '<circle cx="12" cy="12" r="8.5"/><path d="M12 7v5l3.5 2.5"/>',
    "counter": '<path d="M4 8V4h4M16 4h4v4M20 16v4h-4M8 20H4v-4M8 9v6M11 9v6M14 9v6M16.5 9v6"/>',
    "edges": '<path d="M12 3l8 9-8 9-8-9z"/><circle cx="12" cy="12" r="2.2"/><path d="M9 17.6l3 3.4 3-3.4"/>',
    "machines": '<path d="M4 20V5h16v15M2.5 20h19M9 5v4h6V5M10.5 9v4l1.5 2.5 1.5-2.5V9M8 17h8"/>',
    "jobs": '<path d="M6 3h9l4 4v14H6zM15 3v4h4M9.5 12h6M9.5 16h6"/>',
    "stock": '<path d="M4 4h16v16H4zM4 9.3h16M4 14.6h16M10.5 6.7h3M10.5 12h3M10.5 17.3h3"/>',
    "month": '<path d="M4 6h16v14H4zM4 10h16M8.5 3.5V7M15.5 3.5V7M8 15h7M12.5 12.5L15 15l-2.5 2.5"/>',
    "curves": '<path d="M4 4v16h16M6.5 7c5 0 5.5 9.5 12.5 10"/><circle cx="9.2" cy="8" r="1.2"/>'
    '<circle cx="14.6" cy="15" r="1.2"/>',
    "workings": '<path d="M4 20V5l15 15zM8.2 15.9v-4l4 4zM4 9.5h1.6M4 13h1.6"/>',
    "people": '<circle cx="9" cy="8.5" r="3.2"/><path d="M3.5 19.5c0-3.6 2.4-5.6 5.5-5.6s5.5 2 5.5 5.6'
    'M15.5 5.6a3.2 3.2 0 0 1 0 5.8M17 14.3c2.2.7 3.5 2.5 3.5 5.2"/>',
    "me": '<circle cx="12" cy="8.5" r="3.6"/><path d="M5 20.5c0-4.2 3-6.6 7-6.6s7 2.4 7 6.6"/>',
    "out": '<path d="M13 4H5v16h8M10 12h10M16.5 8.5L20 12l-3.5 3.5"/>',
    "done": '<circle cx="12" cy="12" r="8.5"/><path d="M8 12.3l2.8 2.8L16 9.6"/>',
    "badge": '<path d="M5 7h14v13H5zM10 7V4h4v3M8.5 16.5c0-1.6 1.5-2.6 3.5-2.6s3.5 1 3.5 2.6"/>'
    '<circle cx="12" cy="11.4" r="1.5"/>',
}
