(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  // What the reader ticks and chooses is kept by what it is about, so that it outlives a new plan.
  const kept = (() => {
    try { return JSON.parse(localStorage.getItem(data.key)) || {}; } catch { return {}; }
  })();
  kept.ticks = kept.ticks || {};
  const keep = () => { try { localStorage.setItem(data.key, JSON.stringify(kept)); } catch { /* a private window */ } };
  const say = (id, text) => { const node = document.getElementById(id); if (node) node.textContent = text; };

  for (const box of document.querySelectorAll("[data-key]")) {
    const { key, mark } = box.dataset;
    box.checked = key in kept.ticks;
    if (box.checked && kept.ticks[key] !== mark) box.closest("label").querySelector(".words").classList.add("moved");
    box.addEventListener("change", () => {
      if (box.checked) kept.ticks[key] = mark; else delete kept.ticks[key];
      box.closest("label").querySelector(".words").classList.remove("moved");
      keep();
    });
  }

  let units = kept.units || data.units, chosen = null;
  const figures = [...document.querySelectorAll(".q")];
  for (const figure of figures) figure.dataset.metric = figure.textContent;
  const length = (m) => units === "us" ? `${Math.round(m / 0.0254 * 4) / 4} in` : `${Math.round(m * 200) / 2} cm`;
  const name = (number) => { chosen = number; say("tip", data.tips[number - 1][units]); };

  const still = document.getElementById("still");
  const box = document.getElementById("view");
  const view = tankView(data.view, box, still, name);
  const slider = document.getElementById("level");
  function showLevel() {
    if (!slider) return;
    const level = Number(slider.value);
    say("level-out", length(level));
    view.setLevel(level);
    const loose = data.holds.filter((hold) => {
      const step = hold.levels.findIndex((at) => at >= level - 1e-6);
      return hold.moves[step < 0 ? hold.moves.length - 1 : step];
    });
    view.setMoving(loose.flatMap((hold) => hold.pieces));
    if (data.holds.length) {
      say("moves", loose.length ? `At this level ${loose.map((h) => h.name).join(", ")} would move.` : "No wood moves at this level, if set as described.");
    }
  }
  function showUnits() {
    document.body.classList.toggle("us", units === "us");
    for (const figure of figures) figure.textContent = units === "us" ? figure.dataset.us : figure.dataset.metric;
    if (chosen) name(chosen);
    showLevel();
  }
  for (const choice of document.querySelectorAll("input[name=units]")) {
    choice.checked = choice.value === units;
    choice.addEventListener("change", () => { units = kept.units = choice.value; keep(); showUnits(); });
  }
  const large = document.getElementById("large");
  const showLarge = () => document.documentElement.classList.toggle("large", large.checked);
  large.checked = Boolean(kept.large);
  large.addEventListener("change", () => { kept.large = large.checked; keep(); showLarge(); });
  showLarge();
  if (slider) slider.addEventListener("input", showLevel);
  for (const button of document.querySelectorAll("[data-look]")) {
    button.addEventListener("click", () => {
      view.start();
      const turning = view.look(button.dataset.look);
      const turn = document.querySelector("[data-look=turn]");
      turn.setAttribute("aria-pressed", String(turning));
    });
  }
  for (const choice of document.querySelectorAll("[data-show]")) {
    choice.addEventListener("change", () => view.show(choice.dataset.show, choice.checked));
  }
  // A drawing that is too small to read on a phone grows at a tap and then scrolls sideways.
  for (const figure of document.querySelectorAll(".drawing")) {
    figure.querySelector(".sheet-drawing").addEventListener("click", () => figure.classList.toggle("wide-drawing"));
  }
  showUnits();
  new IntersectionObserver((seen, watch) => {
    if (!seen.some((entry) => entry.isIntersecting)) return;
    watch.disconnect();
    view.start();
    showLevel();
  }, { rootMargin: "200px" }).observe(box);
  document.body.dataset.ready = "yes";
})();
