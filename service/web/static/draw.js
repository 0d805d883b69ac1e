/* Drawing an outline, a line or a point on the map; the form carries it as GeoJSON. */
"use strict";

(() => {
  const form = document.querySelector("form[data-draw]");
  if (!form) return;
  const field = form.elements.namedItem("geometry");
  const said = document.getElementById("drawn");
  const areasOnly = form.dataset.draw === "areas";
  const digits = form.dataset.frame === "earth" ? 8 : 3;
  const style = { color: "#1a5fa0", weight: 3, fillOpacity: 0.12 };

  document.addEventListener("bw-map-ready", (event) => {
    const { map } = event.detail;
    if (form.dataset.nowhere) return;
    let drawn = null;

    const keep = () => {
      field.value = drawn ? JSON.stringify(drawn.toGeoJSON(digits).geometry) : "";
      said.textContent = drawn ? said.dataset.some : said.dataset.none;
    };

    const take = (layer) => {
      if (drawn && drawn !== layer) drawn.remove();
      drawn = layer;
      layer.on("pm:edit pm:dragend pm:markerdragend", keep);
      keep();
    };

    map.pm.setGlobalOptions({ pathOptions: style, templineStyle: style, hintlineStyle: { ...style, dashArray: "4 4" } });
    map.pm.addControls({
      position: "topleft",
      drawMarker: false,
      drawCircle: false,
      drawCircleMarker: !areasOnly,
      drawText: false,
      drawPolyline: !areasOnly,
      cutPolygon: false,
      rotateMode: false,
      dragMode: false,
      removalMode: false,
    });
    for (const button of map.getContainer().querySelectorAll(".leaflet-pm-toolbar .leaflet-buttons-control-button")) {
      button.setAttribute("aria-label", button.closest("[title]")?.title || button.parentElement.title);
    }
    // What is on the map already stays as it is; its edges, not its trees, draw the new corners to them.
    map.eachLayer((layer) => {
      layer.pm?.setOptions?.({ allowEditing: false });
      if (layer instanceof L.CircleMarker) layer.options.snapIgnore = true;
    });
    map.on("pm:create", (made) => take(made.layer));

    if (field.value) {
      const known = L.geoJSON(JSON.parse(field.value), {
        style: () => style,
        pointToLayer: (_feature, at) => L.circleMarker(at, { radius: 7 }),
      }).getLayers()[0];
      known.addTo(map);
      take(known);
      if (known.getBounds) map.fitBounds(known.getBounds(), { maxZoom: form.dataset.frame === "earth" ? 20 : 5 });
    }
    keep();
  });
})();
