"use strict";
// What all parts of the page share: its data, and how an element is node.
const page = (() => {
  const data = JSON.parse(document.getElementById("page-data").textContent);

  // Whole numbers to floats: low + step * whole, each place with its own. Of 6 bits one character each; of 16 bits
  // two bytes each, little end first.
  function floats({ data, bits, low, step }) {
    const digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const digit = new Map([...digits].map((each, place) => [each, place]));
    const bytes = bits === 6 ? data : atob(data), places = low.length;
    const values = new Float64Array(bits === 6 ? bytes.length : bytes.length / 2);
    for (let i = 0; i < values.length; i++) {
      const whole = bits === 6 ? digit.get(bytes[i]) : bytes.charCodeAt(2 * i) + 256 * bytes.charCodeAt(2 * i + 1);
      values[i] = low[i % places] + step[i % places] * whole;
    }
    return values;
  }
  const draws = {};
  for (const [name, part] of Object.entries(data.draws)) draws[name] = floats(part);

  function element(name, parent, text, attributes = {}) {
    const node = document.createElement(name);
    if (text !== undefined) node.textContent = text;
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    parent.append(node);
    return node;
  }
  function drawing(name, parent, attributes) {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    parent.append(node);
    return node;
  }
  const quantile = (sorted, q) => {
    const at = q * (sorted.length - 1), low = Math.floor(at), high = Math.ceil(at);
    return sorted[low] + (at - low) * (sorted[high] - sorted[low]);
  };
  return { data, draws, floats, element, drawing, quantile, POUNDS_FORCE: 4.4482216152605, POUND: 0.45359237 };
})();
