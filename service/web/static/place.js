/* A position by tapping on the map: the tap fills the fields of the form, typing in them moves the mark. */
"use strict";

(() => {
  const form = document.querySelector("form[data-frame]");
  if (!form) return;
  const earth = form.dataset.frame === "earth";
  const [across, up] = earth ? ["lon_deg", "lat_deg"] : ["x_m", "y_m"];
  const digits = earth ? 7 : 2;
  const perUnit = Number.parseFloat(form.dataset.perUnit) || 1; // metres in what the form's lengths are typed in
  const scale = earth ? 1 : perUnit;
  const FINGER_PX = 26; // a fingertip of 7 mm at 96 px an inch
  const POINTER_PX = 4; // a pointer of about 1 mm
  const field = (name) => form.elements.namedItem(name);
  const number = (name) => Number.parseFloat(field(name).value.replace(",", "."));
  const said = document.getElementById("placed");

  document.addEventListener("bw-map-ready", (event) => {
    const { map } = event.detail;
    let mark = null;

    const show = () => {
      const at = [number(up) * scale, number(across) * scale];
      const known = at.every(Number.isFinite);
      said.textContent = known ? said.dataset.some : said.dataset.none;
      if (!known || form.dataset.nowhere) { mark?.remove(); mark = null; return; }
      if (mark) mark.setLatLng(at);
      else mark = L.circleMarker(at, { radius: 9, color: "#1a5fa0", weight: 3, fillOpacity: 0.15, interactive: false }).addTo(map);
    };

    // How well a tap can hit: what a finger or a pointer covers of the ground at this zoom [m], at least 0.5.
    const accuracy = (tap) => {
      const px = tap.originalEvent.pointerType === "mouse" ? POINTER_PX : FINGER_PX;
      const beside = map.containerPointToLatLng(tap.containerPoint.add([px, 0]));
      return (Math.max(map.distance(tap.latlng, beside), 0.5) / perUnit).toFixed(1);
    };

    map.on("click", (tap) => {
      field(across).value = (tap.latlng.lng / scale).toFixed(digits);
      field(up).value = (tap.latlng.lat / scale).toFixed(digits);
      if (field("position_source")) {
        field("position_source").value = "tap on plan";
        field("position_accuracy_m").value = accuracy(tap);
      }
      show();
    });
    for (const name of [across, up]) field(name).addEventListener("input", show);
    show();
  });
})();
