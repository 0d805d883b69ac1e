"""Which files of which npm packages the browser and the sheets get, and where they lie afterwards.

Versions are pinned by ``package.json`` and its lock file; the licence text of every package in the lock is
copied too, because the drawing tool carries others inside its one file.
"""

FILES: dict[str, str] = {
    "leaflet/dist/leaflet.js": "leaflet/leaflet.js",
    "leaflet/dist/leaflet.css": "leaflet/leaflet.css",
    "leaflet/dist/images/layers.png": "leaflet/images/layers.png",
    "leaflet/dist/images/layers-2x.png": "leaflet/images/layers-2x.png",
    "leaflet/dist/images/marker-icon.png": "leaflet/images/marker-icon.png",
    "leaflet/dist/images/marker-icon-2x.png": "leaflet/images/marker-icon-2x.png",
    "leaflet/dist/images/marker-shadow.png": "leaflet/images/marker-shadow.png",
    "@geoman-io/leaflet-geoman-free/dist/leaflet-geoman.min.js": "geoman/leaflet-geoman.js",
    "@geoman-io/leaflet-geoman-free/dist/leaflet-geoman.css": "geoman/leaflet-geoman.css",
    "dejavu-fonts-ttf/ttf/DejaVuSans.ttf": "fonts/DejaVuSans.ttf",
    "dejavu-fonts-ttf/ttf/DejaVuSans-Bold.ttf": "fonts/DejaVuSans-Bold.ttf",
}

LICENCE_NAMES = ("LICENSE", "LICENSE.txt", "LICENSE.md", "LICENCE", "LICENCE.md")
