// Opens HTML reports in headless Chromium and says what a reader with other
// eyes, another screen, a keyboard or paper would stumble over.
//   node pages.mjs [--sealed] TOOLS FOLDER PAGE.html...
// TOOLS holds node_modules with playwright-core and axe-core. For each page
// FOLDER gets NAME-a4.pdf, NAME-letter.pdf and NAME.figures.json: what print.py
// looks for on paper. With --sealed only what a hostile text could break: what
// the page is made of, what it asks for, its width. Last line: N passed, N failed.
import { createRequire } from "node:module";
import { writeFileSync, readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";
import { basename, dirname, resolve } from "node:path";

const words = process.argv.slice(2);
const onlySealed = words[0] === "--sealed" && words.shift() !== "";
const [tools, folder, ...pages] = words;
const require = createRequire(resolve(tools, "node_modules", "x.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
let passed = 0, failed = 0;

function check(what, ok, why = "") {
	if (ok)
		passed++;
	else {
		failed++;
		console.log(`FAILED: ${what}: ${why}`.slice(0, 1500));
	}
}

// Every rule of axe, best practice too; what it could not decide is not
// counted, but for contrast of text on a plain ground it always decides.
async function accessible(page, what) {
	await page.evaluate(axe);
	const found = await page.evaluate(() => globalThis.axe.run(document,
		{ resultTypes: ["violations"] }));
	check(`${what}: axe-core ran`, found.passes.length > 15,
		`${found.passes.length} rules`);
	check(`${what}: axe-core`, found.violations.length === 0,
		found.violations.map(v => `${v.id} (${v.nodes.length}): ` +
			v.nodes.slice(0, 3).map(n => n.html.slice(0, 120) + " " +
				n.failureSummary).join(" | ")).join("\n  "));
}

// Words and marks of the drawings against what lies under them, which axe
// leaves open: 4.5 to 1 for words, 3 to 1 for marks that carry a meaning.
async function contrast(page, what) {
	const pale = await page.evaluate(() => {
		const parse = c => (c.match(/[\d.]+/g) || []).map(Number)
			.map(x => /^color\(srgb/.test(c) ? x * 255 : x);
		const light = c => c.slice(0, 3).map(x => x / 255).map(x =>
			x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4)
			.reduce((s, x, i) => s + x * [0.2126, 0.7152, 0.0722][i], 0);
		const over = (top, alpha, under) => top.slice(0, 3).map((x, i) =>
			alpha * x + (1 - alpha) * under[i]);
		const ratio = (a, b) => {
			const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
			return (x + 0.05) / (y + 0.05);
		};
		const sheet = parse(getComputedStyle(document.body).backgroundColor);
		const alpha = e => e.closest("svg") === e ? 1 :
			parseFloat(getComputedStyle(e).opacity) * alpha(e.parentElement);
		// The ground at a point: filled shapes under it, lowest first.
		const ground = (x, y) => document.elementsFromPoint(x, y)
			.filter(e => e.closest("svg") && !e.matches("svg,text,tspan"))
			.map(e => [getComputedStyle(e), e])
			.filter(([s]) => s.fill !== "none").reverse()
			.reduce((g, [s, e]) => over(parse(s.fill), alpha(e) *
				parseFloat(s.fillOpacity), g), sheet);
		const out = [];
		for (const svg of document.querySelectorAll("svg")) {
			if (!svg.getBoundingClientRect().width)
				continue;
			for (const t of svg.querySelectorAll("text")) {
				t.scrollIntoView({ block: "center", inline: "center" });
				const b = t.getBoundingClientRect();
				const under = ground(b.x + b.width / 2, b.y + b.height / 2);
				const ink = over(parse(getComputedStyle(t).fill), alpha(t),
					under);
				if (ratio(ink, under) < 4.5)
					out.push(`"${t.textContent.trim()}" ` +
						ratio(ink, under).toFixed(2));
			}
			for (const m of svg.querySelectorAll(".i-gain,.i-loss,.i-same," +
				".i-open,.i-data,.i-fit,.i-axis")) {
				if (m.matches("text"))
					continue;
				const s = getComputedStyle(m);
				const paint = s.stroke !== "none" ? s.stroke : s.fill;
				const r = ratio(over(parse(paint), alpha(m), sheet), sheet);
				if (paint !== "none" && r < 3)
					out.push(`${m.getAttribute("class")} ${r.toFixed(2)}`);
			}
		}
		scrollTo(0, 0);
		return [...new Set(out)];
	});
	check(`${what}: contrast in drawings`, pale.length === 0,
		pale.slice(0, 8).join("; "));
}

// No part is wider than the window but tables, which scroll in a box of
// their own that the keyboard reaches; no text is clipped.
async function fits(page, what) {
	const wide = await page.evaluate(() => {
		const root = document.scrollingElement, out = [];
		if (root.scrollWidth > root.clientWidth)
			out.push(`page ${root.scrollWidth} > ${root.clientWidth}`);
		for (const e of document.body.querySelectorAll("*")) {
			const style = getComputedStyle(e);
			if (e.closest("svg") || style.display === "inline")
				continue;
			if (e.matches(".scroll") && e.tabIndex === 0)
				continue;
			if (e.clientWidth && e.scrollWidth > e.clientWidth + 1)
				out.push(`${e.tagName}.${e.className} ` +
					`${e.scrollWidth} > ${e.clientWidth}: ` +
					e.textContent.trim().slice(0, 60));
		}
		return out;
	});
	check(`${what}: no scrolling sideways`, wide.length === 0,
		wide.slice(0, 5).join("; "));
}

// What the page is made of.
async function structure(page, what) {
	const said = await page.evaluate(() => {
		const all = s => [...document.querySelectorAll(s)];
		const wrong = [];
		const need = (ok, why) => ok || wrong.push(why);
		const levels = all("h1,h2,h3,h4,h5,h6").map(h => +h.tagName[1]);
		need(document.documentElement.lang.length >= 2, "lang");
		need(document.title.trim().length > 0, "title");
		need(levels.filter(l => l === 1).length === 1 && levels[0] === 1,
			`one h1, first: ${levels}`);
		levels.forEach((l, i) => need(!i || l <= levels[i - 1] + 1,
			`heading ${i} jumps from ${levels[i - 1]} to ${l}`));
		for (const s of ["header", "main", "footer"])
			need(all(`body > ${s}`).length === 1, `one ${s}`);
		for (const n of all("nav"))
			need(n.querySelector("a[href^='#']") &&
				n.hasAttribute("aria-label"), "nav with links, named");
		const skip = document.body.firstElementChild;
		need(skip.matches("a[href='#main']"), "skip link first");
		for (const a of all("a[href^='#']"))
			need(document.getElementById(a.getAttribute("href").slice(1)),
				`link to nothing: ${a.getAttribute("href")}`);
		for (const t of all("table")) {
			need(t.caption && t.caption.textContent.trim(), "caption");
			need(t.tHead && t.tHead.rows.length === 1, "thead");
			for (const h of t.querySelectorAll("th"))
				need(/^(col|row|rowgroup)$/.test(h.scope),
					`scope of ${h.textContent}`);
		}
		for (const g of all("figure")) {
			need(g.querySelector("figcaption"), "figcaption");
			need(g.querySelector("svg"), "svg in figure");
		}
		for (const s of all("svg")) {
			const ids = (s.getAttribute("aria-labelledby") || "").split(" ");
			need(s.getAttribute("role") === "img", "svg role");
			need(ids.length === 2 && ["title", "desc"].every((k, i) => {
				const e = document.getElementById(ids[i]);
				return e && e.tagName === k && s.contains(e) &&
					e.textContent.trim();
			}), "svg title and desc");
		}
		return wrong;
	});
	check(`${what}: structure`, said.length === 0, said.slice(0, 8).join("; "));
}

// Nothing that runs, nothing from outside, and a policy that says so.
async function sealed(page, what, asked) {
	const said = await page.evaluate(() => ({
		live: document.querySelectorAll("script,link,iframe,object,embed," +
			"base,form,img,audio,video,source,foreignObject," +
			"meta[http-equiv=refresh]").length,
		on: [...document.querySelectorAll("*")].filter(e =>
			[...e.attributes].some(a => /^on/i.test(a.name) ||
				/^\s*(javascript|data|vbscript):/i.test(a.value))).length,
		out: [...document.querySelectorAll("[href],[src],[action]," +
			"[xlink\\:href]")].filter(e => !(e.getAttribute("href") || "")
			.startsWith("#")).length,
		css: [...document.querySelectorAll("style")].filter(s =>
			/@import|url\(/i.test(s.textContent)).length,
		policy: (document.querySelector("meta[http-equiv]" +
			"[content*='default-src']") || {}).content
	}));
	check(`${what}: nothing runs`, said.live + said.on === 0,
		JSON.stringify(said));
	check(`${what}: nothing points outside`, said.out + said.css === 0,
		JSON.stringify(said));
	check(`${what}: policy`, said.policy === "default-src 'none'; " +
		"style-src 'unsafe-inline'; img-src data:", said.policy);
	check(`${what}: one request`, asked.length === 1, asked.join(" "));
	// The policy holds: what a slip would let in is stopped.
	const stopped = await page.evaluate(() => new Promise(done => {
		document.addEventListener("securitypolicyviolation",
			e => done(e.violatedDirective));
		const i = document.createElement("img");
		i.src = "https://outside.invalid/x.png";
		document.body.append(i);
		setTimeout(() => done("nothing was stopped"), 3000);
	}));
	check(`${what}: policy is kept`, stopped === "img-src", stopped);
}

// Tab through the whole page: in order, seen, with a ring around it.
async function keyboard(page, what) {
	const wrong = [];
	const n = await page.evaluate(() => document.querySelectorAll(
		"a[href],[tabindex='0']").length);
	let last = -1;
	for (let i = 0; i < n; i++) {
		await page.keyboard.press("Tab");
		const f = await page.evaluate(() => {
			const e = document.activeElement;
			const s = getComputedStyle(e), b = e.getBoundingClientRect();
			const all = [...document.querySelectorAll(
				"a[href],[tabindex='0']")];
			return { at: all.indexOf(e), ring: s.outlineStyle !== "none" &&
				parseFloat(s.outlineWidth) >= 2 &&
				s.outlineColor !== s.backgroundColor,
				seen: b.bottom > 0 && b.right > 0 &&
				b.top < innerHeight && b.left < innerWidth,
				html: e.outerHTML.slice(0, 80) };
		});
		if (!f.ring || !f.seen || f.at !== last + 1)
			wrong.push(JSON.stringify(f));
		last = f.at;
	}
	check(`${what}: keyboard, ${n} stops`, n > 0 && wrong.length === 0,
		wrong.slice(0, 3).join("; "));
}

// The page on paper, and what must be there.
async function paper(page, what, name) {
	await page.emulateMedia({ media: "print", colorScheme: "light" });
	const parts = await page.evaluate(() => {
		const words = e => (e ? e.textContent : "").replace(/\s+/g, " ").trim();
		const shown = s => s.getBoundingClientRect().width > 0;
		const keep = getComputedStyle;
		return {
			captions: [...document.querySelectorAll("caption")].map(words),
			headings: [...document.querySelectorAll("h1,h2,h3")].map(words),
			figures: [...document.querySelectorAll("figure")].map(f => ({
				title: words(f.querySelector("figcaption b")),
				labels: [...f.querySelectorAll("svg")].filter(shown)
					.flatMap(s => [...s.querySelectorAll("text")].map(words)),
				whole: keep(f).breakInside === "avoid"
			})),
			tables: [...document.querySelectorAll("table")].map(t => ({
				heads: t.tHead ? [...t.tHead.rows[0].cells].map(words) : [],
				rows: [...t.tBodies[0].rows].map(r =>
					[...r.cells].map(words)),
			})),
			split: [...document.querySelectorAll("tr")].filter(r =>
				keep(r).breakInside !== "avoid").length,
			heads: [...document.querySelectorAll("thead")].filter(h =>
				keep(h).display !== "table-header-group").length
		};
	});
	check(`${what}: rows stay whole, heads repeat`,
		parts.split + parts.heads === 0, `${parts.split} ${parts.heads}`);
	check(`${what}: figures stay whole`, parts.figures.every(f => f.whole &&
		f.labels.length > 0), "a figure may break or has no words");
	writeFileSync(`${folder}/${name}.paper.json`, JSON.stringify(parts));
	for (const format of ["A4", "Letter"])
		await page.pdf({ path: `${folder}/${name}-${format.toLowerCase()}.pdf`,
			format, preferCSSPageSize: false, tagged: true, outline: true });
}

async function read(browser, file) {
	const name = basename(dirname(resolve(file)));
	const url = pathToFileURL(resolve(file)).href;
	const context = await browser.newContext({
		viewport: { width: 1280, height: 900 }, reducedMotion: "reduce" });
	const page = await context.newPage();
	const asked = [], errors = [];
	page.on("request", r => asked.push(r.url()));
	page.on("pageerror", e => errors.push(String(e)));
	page.on("console", m => m.type() === "error" && errors.push(m.text()));
	await page.goto(url);
	await structure(page, name);
	await fits(page, `${name}, 1280 px`);
	if (onlySealed) {
		await page.setViewportSize({ width: 320, height: 800 });
		await fits(page, `${name}, 320 px`);
		check(`${name}: no error in the browser`, errors.length === 0,
			errors.join("; "));
		await sealed(page, name, asked);
		await context.close();
		return;
	}
	for (const [how, media] of [
		["light", { colorScheme: "light" }],
		["dark", { colorScheme: "dark" }],
		["forced colours", { colorScheme: "light", forcedColors: "active" }],
		["print", { colorScheme: "light", forcedColors: "none",
			media: "print" }]]) {
		await page.emulateMedia(media);
		await accessible(page, `${name}, ${how}`);
		await contrast(page, `${name}, ${how}`);
	}
	await page.emulateMedia({ media: "screen", forcedColors: "none",
		colorScheme: "light" });
	await page.setViewportSize({ width: 320, height: 800 });
	await fits(page, `${name}, 320 px`);
	await accessible(page, `${name}, 320 px`);
	await page.setViewportSize({ width: 640, height: 450 });
	await fits(page, `${name}, 200 % zoom`);
	// Larger text alone, and the text spacing of WCAG 1.4.12.
	await page.evaluate(() => {
		document.documentElement.style.fontSize = "200%";
	});
	await page.setViewportSize({ width: 1280, height: 900 });
	await fits(page, `${name}, 200 % text`);
	await page.evaluate(() => {
		document.documentElement.style.fontSize = "";
		document.documentElement.style.lineHeight = "1.5";
		document.documentElement.style.letterSpacing = "0.12em";
		document.documentElement.style.wordSpacing = "0.16em";
	});
	await page.setViewportSize({ width: 320, height: 800 });
	await fits(page, `${name}, wide spacing`);
	await page.setViewportSize({ width: 1280, height: 900 });
	await page.goto(url);
	asked.pop();
	await keyboard(page, name);
	check(`${name}: no error in the browser`, errors.length === 0,
		errors.join("; "));
	await sealed(page, name, asked);
	await page.goto(url);
	await paper(page, name, name);
	await context.close();
}

const browser = await chromium.launch({
	executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
	args: ["--no-sandbox", "--disable-gpu", "--disable-quic"] });
for (const file of pages)
	await read(browser, file);
await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exitCode = failed ? 1 : 0;
