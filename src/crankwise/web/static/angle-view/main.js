// Angle views of a page, each where the page has a place for one.
import { mount } from "./view.js";

for (const place of document.querySelectorAll(".angle-view")) mount(place);
