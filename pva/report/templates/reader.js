"use strict";
(function () {
  // Reads the number off the simulated curve for the chance the reader wants.
  function needed(numbers, chances, wanted) {
    for (let i = 0; i < numbers.length; i += 1) {
      if (chances[i] >= wanted) {
        if (i === 0 || chances[i] === chances[i - 1]) { return numbers[i]; }
        const share = (wanted - chances[i - 1]) / (chances[i] - chances[i - 1]);
        return numbers[i - 1] + share * (numbers[i] - numbers[i - 1]);
      }
    }
    return null;
  }

  function animals(exact) {
    const number = Math.ceil(exact - 1e-9);
    if (number < 100) { return String(number); }
    const digits = number < 1000 ? 2 : 3;
    return Number(number.toPrecision(digits)).toLocaleString("en-US");
  }

  function drawn(name, attributes, parent) {
    const made = document.createElementNS(parent.namespaceURI, name);
    Object.keys(attributes).forEach(function (key) { made.setAttribute(key, attributes[key]); });
    parent.appendChild(made);
    return made;
  }

  function start(panel) {
    const curve = JSON.parse(panel.querySelector(".curve").textContent);
    const name = panel.dataset.reader;
    const slider = document.getElementById(name + "-wanted");
    const picture = document.querySelector('[data-picture="' + name + '"]');
    const place = curve.place;
    const asked = String(Math.round(100 * curve.wanted));
    const level = drawn("path", { class: "read-level" }, picture);
    const drop = drawn("path", { class: "read-drop" }, picture);
    const spot = drawn("circle", { class: "read-spot", r: 4 }, picture);

    function across(number) {
      const share = (number - place.low) / (place.high - place.low);
      return place.x0 + Math.min(share, 1) * (place.x1 - place.x0);
    }
    function up(chance) {
      return place.y0 + (chance - place.bottom) / (place.top - place.bottom) * (place.y1 - place.y0);
    }
    function show() {
      const wanted = Number(slider.value) / 100;
      const at = needed(curve.number, curve.chance, wanted);
      const low = needed(curve.number, curve.high, wanted);
      const high = needed(curve.number, curve.low, wanted);
      const y = up(wanted);
      let text;
      if (at === null) {
        text = "Not reached with up to " + animals(curve.most) + " " + curve.unit + ".";
      } else {
        text = "About " + animals(at) + " " + curve.unit;
        text += " (simulation alone: " + animals(low === null ? at : low) + " to " +
          (high === null ? "more than " + animals(curve.most) : animals(high)) + ").";
      }
      if (slider.value === asked && curve.answer) { text = curve.answer; }
      const end = at === null ? place.x1 : across(at);
      level.setAttribute("d", "M" + place.x0 + " " + y + "H" + end);
      drop.setAttribute("d", at === null ? "M0 0" : "M" + end + " " + y + "V" + place.y0);
      spot.setAttribute("cx", end);
      spot.setAttribute("cy", y);
      const asDrawn = slider.value === asked;
      spot.style.display = asDrawn || at === null || at > place.high ? "none" : "";
      level.style.display = asDrawn ? "none" : "";
      drop.style.display = asDrawn ? "none" : "";
      document.getElementById(name + "-chance").textContent = slider.value + " %";
      document.getElementById(name + "-answer").textContent = text;
      slider.setAttribute("aria-valuetext", slider.value + " percent: " + text);
    }
    slider.value = asked;
    slider.addEventListener("input", show);
    panel.hidden = false;
    show();
  }

  document.querySelectorAll("[data-reader]").forEach(start);
}());
