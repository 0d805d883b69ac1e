/* A position by tapping on the map: the tap fills the two fields of the form, typing in them moves the mark. */
"use strict";

(() => {
  const form = document.querySelector("form[data-frame]");
  if (!form) return;
  const earth = form.dataset.frame === "earth";
  const [across, up] = earth ? ["lon_deg", "lat_deg"] : ["x_m", "y_m"];
  const digits = earth ? 7 : 2;
  const field = (name) => form.elements.namedItem(name);
  const number = (name) => Number.parseFloat(field(name).value.replace(",", "."));

  document.addEventListener("boleward:map", (event) => {
    const { map } = event.detail;
    let mark = null;

    const show = () => {
      const at = [number(up), number(across)];
      if (!at.every(Number.isFinite)) return;
      if (mark) mark.setLatLng(at);
      else mark = L.circleMarker(at, { radius: 9, color: "#1a5fa0", weight: 3, fillOpacity: 0.15, interactive: false }).addTo(map);
    };

    map.on("click", (tap) => {
      field(across).value = tap.latlng.lng.toFixed(digits);
      field(up).value = tap.latlng.lat.toFixed(digits);
      const source = field("position_source");
      if (!source.value) source.value = "tap on plan";
      show();
    });
    for (const name of [across, up]) field(name).addEventListener("input", show);
    show();
  });
})();
