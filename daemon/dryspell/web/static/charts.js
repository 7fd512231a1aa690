"use strict";
// Puts a living chart in the place of a drawn one: it fits the width there is, and tells the figures of the hour that is
// pointed at, in words beside it and not under the finger. Where anything goes wrong the drawing stays.

(() => {
  const narrowest = 260;

  const theme = () => {
    const chosen = document.documentElement.dataset.theme;
    if (chosen === "dark" || chosen === "light") return chosen;
    return window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  };

  const element = (name, attributes = {}, text = "") => {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.textContent = text;
    return made;
  };

  class Living {
    constructor(figure) {
      this.figure = figure;
      this.drawn = figure.querySelector("picture");
      this.place = element("div", { class: "living" });
      this.shown = "";
      this.hour = null;
    }

    get wide() {
      return window.innerWidth >= Number(this.figure.dataset.wideFrom);
    }

    async show() {
      const size = this.wide ? "wide" : "narrow";
      const wanted = `${this.figure.dataset.spec}&theme=${theme()}&size=${size}`;
      const room = this.figure.clientWidth;
      if (this.shown === wanted + room) return;
      this.shown = wanted + room;
      const answer = await fetch(wanted, { headers: { Accept: "application/json" } });
      if (!answer.ok) return;
      const spec = await answer.json();
      const told = spec.usermeta;
      delete spec.usermeta;
      // Axis and edges take what the panels were not given.
      const width = Math.max(narrowest, room - 66);
      for (const panel of spec.vconcat) panel.width = width;
      const place = element("div", { class: "living" });
      const made = await window.vegaEmbed(place, spec, {
        mode: "vega-lite",
        ast: true,
        actions: false,
        defaultStyle: false,
        hover: false,
        renderer: "svg",
        tooltip: false,
        logLevel: 1,
      });
      if (this.shown !== wanted + room) return; // the window has another size by now
      if (this.view) this.view.finalize();
      this.view = made.view;
      this.told = told;
      this.width = width;
      this.drawn.hidden = true;
      this.drawn.remove();
      this.place.replaceWith(place);
      if (!place.isConnected) this.figure.append(place);
      this.place = place;
      this.place.setAttribute("aria-hidden", "true"); // the slider, the words and the table say it
      this.readout();
      this.follow();
      this.tell(this.hour ?? told.hours.findIndex((each) => each >= told.now_h));
    }

    readout() {
      if (this.words) {
        this.slider.max = String(this.told.hours.length - 1);
        return;
      }
      this.words = element("div", { class: "readout" });
      this.title = element("p", { class: "readout-at" });
      this.said = element("p", { class: "readout-said" });
      this.list = element("dl", { class: "readout-figures" });
      const label = element("label", { class: "readout-slider" }, "Hour ");
      this.slider = element("input", { type: "range", min: "0", max: String(this.told.hours.length - 1), step: "1" });
      this.slider.addEventListener("input", () => this.tell(Number(this.slider.value)));
      label.append(this.slider);
      this.words.append(label, this.title, this.said, this.list);
      this.figure.prepend(this.words);
    }

    follow() {
      const point = (event) => {
        const svg = this.place.querySelector("svg");
        const box = svg.getBoundingClientRect();
        const scale = box.width / Number(svg.getAttribute("width"));
        const x = (event.clientX - box.left) / scale - this.view.origin()[0] - this.view.padding().left;
        const hour = (x / this.width) * this.told.end_h;
        if (hour >= -1 && hour <= this.told.end_h + 1) this.tell(this.nearest(hour));
      };
      this.place.addEventListener("pointermove", point);
      this.place.addEventListener("pointerdown", point);
    }

    nearest(hour) {
      const hours = this.told.hours;
      let best = 0;
      for (let index = 1; index < hours.length; index += 1) {
        if (Math.abs(hours[index] - hour) < Math.abs(hours[best] - hour)) best = index;
      }
      return best;
    }

    tell(index) {
      const told = this.told;
      const at = Math.min(Math.max(index, 0), told.hours.length - 1);
      const hour = told.hours[at];
      this.hour = at;
      this.slider.value = String(at);
      this.title.textContent = told.times[at];
      const span = told.spans.find((each) => each.from <= hour && hour < each.to);
      this.said.textContent = span ? span.said : hour < told.now_h ? "That has been." : "";
      this.slider.setAttribute("aria-valuetext", `${told.times[at]}. ${this.said.textContent}`);
      this.said.className = `readout-said ${span ? span.word : ""}`;
      const parts = [];
      told.headings.forEach((heading, column) => {
        const pair = element("div");
        pair.append(element("dt", {}, heading), element("dd", {}, told.cells[at][column]));
        parts.push(pair);
      });
      this.list.replaceChildren(...parts);
      this.view.signal("at", hour).runAsync();
    }
  }

  const begin = () => {
    if (!window.vegaEmbed) return;
    const charts = [...document.querySelectorAll("figure[data-spec]")].map((figure) => new Living(figure));
    const show = () => charts.forEach((chart) => chart.show().catch((error) => console.info("the drawing stays", error)));
    let waiting = 0;
    const soon = () => {
      window.clearTimeout(waiting);
      waiting = window.setTimeout(show, 150);
    };
    window.addEventListener("resize", soon);
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", soon);
    new MutationObserver(soon).observe(document.documentElement, { attributeFilter: ["data-theme"] });
    show();
  };

  // What draws is large: the page is shown before it is looked at.
  const draws = element("script", { src: document.currentScript.dataset.draws });
  draws.addEventListener("load", begin);
  requestAnimationFrame(() => setTimeout(() => document.head.append(draws)));
})();
