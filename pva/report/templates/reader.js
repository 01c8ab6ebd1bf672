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
    const other = drawn("path", { class: "read-other" }, picture);
    const target = document.getElementById(name + "-target");

    // The curve of the target chosen; the one written is that of the search itself.
    function chosen() {
      const one = target === null ? null : curve.targets[Number(target.value)];
      return one === null || one.written ? curve : one;
    }

    function across(number) {
      const share = (number - place.low) / (place.high - place.low);
      return place.x0 + Math.min(share, 1) * (place.x1 - place.x0);
    }
    function up(chance) {
      return place.y0 + (chance - place.bottom) / (place.top - place.bottom) * (place.y1 - place.y0);
    }
    function show() {
      const wanted = Number(slider.value) / 100;
      const used = chosen();
      const at = needed(used.number, used.chance, wanted);
      const low = needed(used.number, used.high, wanted);
      const high = needed(used.number, used.low, wanted);
      const y = up(wanted);
      let text;
      if (at === null) {
        text = "Not reached with up to " + animals(curve.most) + " " + curve.unit + ".";
      } else {
        text = "About " + animals(at) + " " + curve.unit;
        text += " (simulation alone: " + animals(low === null ? at : low) + " to " +
          (high === null ? "more than " + animals(curve.most) : animals(high)) + ").";
      }
      const asDrawn = slider.value === asked && used === curve;
      if (asDrawn && curve.answer) { text = curve.answer; }
      other.setAttribute("d", used === curve ? "M0 0" : used.number.map(function (n, i) {
        return n > place.high ? "" : (i === 0 ? "M" : "L") + across(n) + " " + up(used.chance[i]);
      }).join(""));
      const end = at === null ? place.x1 : across(at);
      level.setAttribute("d", "M" + place.x0 + " " + y + "H" + end);
      drop.setAttribute("d", at === null ? "M0 0" : "M" + end + " " + y + "V" + place.y0);
      spot.setAttribute("cx", end);
      spot.setAttribute("cy", y);
      spot.style.display = asDrawn || at === null || at > place.high ? "none" : "";
      level.style.display = asDrawn ? "none" : "";
      drop.style.display = asDrawn ? "none" : "";
      document.getElementById(name + "-chance").textContent = slider.value + " %";
      document.getElementById(name + "-answer").textContent = text;
      slider.setAttribute("aria-valuetext", slider.value + " percent: " + text);
    }
    slider.value = asked;
    slider.addEventListener("input", show);
    if (target !== null) { target.addEventListener("change", show); }
    panel.hidden = false;
    show();
  }

  // Says the values where the pointer is; with the keyboard, arrow keys walk along the axis.
  function values(panel) {
    const name = panel.dataset.values;
    const points = JSON.parse(panel.querySelector(".points").textContent);
    const picture = document.querySelector('[data-picture="' + name + '"]');
    const place = points.place;
    const line = drawn("path", { class: "read-level" }, picture);
    const said = document.getElementById(name + "-value");
    let now = -1;

    function across(value) {
      return place.x0 + (value - place.low) / (place.high - place.low) * (place.x1 - place.x0);
    }
    function show(i) {
      now = i;
      said.textContent = i < 0 ? "" : points.said[i];
      line.setAttribute("d", i < 0 ? "M0 0" :
        "M" + across(points.at[i]) + " " + place.y0 + "V" + place.y1);
    }
    function nearest(event) {
      const box = picture.getBoundingClientRect();
      const x = (event.clientX - box.left) / box.width * picture.viewBox.baseVal.width;
      let best = -1;
      points.at.forEach(function (value, i) {
        if (value <= place.high && (best < 0 ||
            Math.abs(across(value) - x) < Math.abs(across(points.at[best]) - x))) { best = i; }
      });
      show(best);
    }
    picture.addEventListener("pointermove", nearest);
    picture.addEventListener("pointerleave", function () { show(-1); });
    panel.querySelector("button").addEventListener("keydown", function (event) {
      const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
      if (step !== undefined) {
        event.preventDefault();
        show(Math.max(0, Math.min(points.at.length - 1, now + step)));
      }
    });
    panel.querySelector("button").addEventListener("click", function () { show(0); });
    panel.hidden = false;
  }

  document.querySelectorAll("[data-reader]").forEach(start);
  document.querySelectorAll("[data-values]").forEach(values);
}());
