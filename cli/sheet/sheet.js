"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const place = "plumbstone:" + document.title + ":" + location.pathname;
  let units = "metric";
  let tapped = null;

  // Ticks survive a reload where the browser lets a page keep anything.
  const kept = (() => {
    try { return JSON.parse(localStorage.getItem(place)) || {}; } catch { return {}; }
  })();
  for (const box of document.querySelectorAll(".steps input")) {
    box.checked = Boolean(kept[box.id]);
    box.addEventListener("change", () => {
      kept[box.id] = box.checked;
      try { localStorage.setItem(place, JSON.stringify(kept)); } catch { /* a private window */ }
    });
  }

  const figures = [...document.querySelectorAll(".q")];
  for (const figure of figures) figure.dataset.metric = figure.textContent;
  const say = (id, text) => { const node = document.getElementById(id); if (node) node.textContent = text; };
  const length = (cm) => units === "us" ? (Math.round(cm / 2.54 * 4) / 4) + " in" : (Math.round(cm * 2) / 2) + " cm";
  const showTip = () => { if (tapped !== null) say("tip", data.tips[tapped - 1][units]); };

  const view = document.getElementById("view");
  const dark = matchMedia("(prefers-color-scheme: dark)").matches;
  const axis = { visible: false };
  const layout = {
    margin: { l: 0, r: 0, t: 0, b: 0 }, paper_bgcolor: "rgba(0,0,0,0)", showlegend: false,
    scene: {
      xaxis: axis, yaxis: axis, zaxis: axis, aspectmode: "data",
      camera: { eye: { x: 0.15, y: -1.65, z: 0.75 }, center: { x: 0, y: 0, z: -0.1 } },
    },
  };
  const roles = data.view.map((trace) => trace.meta);
  const ofRole = (role) => roles.flatMap((meta, i) => meta.role === role ? [i] : []);
  const colours = data.view.map((trace) => trace.color);

  function showLevel() {
    const slider = document.getElementById("level");
    if (!slider) return;
    const level = Number(slider.value);
    say("level-out", length(level));
    const water = ofRole("water");
    if (water.length) Plotly.restyle(view, { z: [data.view[water[0]].x.map(() => level)] }, water);
    const loose = [];
    for (const hold of data.holds) {
      const step = hold.levels.findIndex((at) => at >= level - 1e-9);
      const moves = hold.moves[step < 0 ? hold.moves.length - 1 : step];
      if (moves) loose.push(hold.name);
      const traces = roles.flatMap((meta, i) => meta.role === "piece" && hold.pieces.includes(meta.number) ? [i] : []);
      if (traces.length) Plotly.restyle(view, { color: traces.map((i) => moves ? "#d81b60" : colours[i]) }, traces);
    }
    if (data.holds.length) {
      say("moves", loose.length ? "At this level " + loose.join(", ") + " would move." : "No wood moves at this level, if set as described.");
    }
  }

  function showUnits() {
    document.body.classList.toggle("us", units === "us");
    for (const figure of figures) figure.textContent = units === "us" ? figure.dataset.us : figure.dataset.metric;
    showTip();
    showLevel();
  }

  Plotly.newPlot(view, data.view, layout, { displayModeBar: false, responsive: true, scrollZoom: true }).then(() => {
    view.on("plotly_click", (event) => {
      const meta = roles[event.points[0].curveNumber];
      if (meta.role !== "piece") return;
      tapped = meta.number;
      showTip();
    });
    for (const [id, role] of [["show-layers", "layer"], ["show-water", "water"], ["show-glass", "glass"]]) {
      document.getElementById(id).addEventListener("change", (event) => {
        const traces = ofRole(role);
        if (traces.length) Plotly.restyle(view, { visible: event.target.checked }, traces);
      });
    }
    const slider = document.getElementById("level");
    if (slider) slider.addEventListener("input", showLevel);
    for (const choice of document.querySelectorAll("input[name=units]")) {
      choice.addEventListener("change", () => { units = choice.value; showUnits(); });
    }
    showLevel();
    document.body.dataset.ready = "yes";
  });
})();
