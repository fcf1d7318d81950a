#include "page_parts.hpp"

namespace hushtrace::page {

// Blue-green and rust stay apart for the common kinds of colour blindness, and differ in lightness; shapes,
// shading and words say the same again.
std::string_view style() {
    return R"(
:root { color-scheme: light dark; --paper: #fbfaf6; --card: #ffffff; --ink: #20262b; --soft: #59636b; --rule: #d8d5cb;
  --accent: #1f5f6e; --loud: #a8431a; --shade: #9fb6bd; --beyond: #f3e3d6; }
@media screen and (prefers-color-scheme: dark) {
  :root { --paper: #14191d; --card: #1b2227; --ink: #e7e4dc; --soft: #a3adb3; --rule: #36414a;
    --accent: #7fc3cf; --loud: #f0945f; --shade: #41606b; --beyond: #33261f; } }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body { margin: 0; background: var(--paper); color: var(--ink); overflow-wrap: anywhere;
  font: 1rem/1.5 system-ui, "Segoe UI", "Helvetica Neue", Arial, "Noto Sans", sans-serif; }
header, main, footer { max-width: 58rem; margin: 0 auto; padding: 0 1.25rem; }
header { padding-top: 2.5rem; }
h1, h2, h3 { font-family: Charter, "Bitstream Charter", Cambria, Georgia, serif; line-height: 1.2; font-weight: 600; }
h1 { font-size: 2rem; margin: 0.2rem 0 0.6rem; }
h2 { font-size: 1.4rem; margin: 2.6rem 0 0.9rem; padding-top: 0.7rem; border-top: 2px solid var(--ink); }
h3 { font-size: 1.12rem; margin: 0 0 0.2rem; }
p { margin: 0.4rem 0; }
.soft, footer { color: var(--soft); }
.soft { font-size: 0.93rem; }
blockquote { margin: 0.7rem 0; padding-left: 0.9rem; border-left: 3px solid var(--rule); font-style: italic; }
ol.plain { list-style: none; margin: 0; padding: 0; }
ol.plain > li { position: relative; padding: 0 0 1.3rem 2.9rem; break-inside: avoid; }
.number { position: absolute; left: 0; top: 0; min-width: 1.9rem; padding: 0 0.35rem; text-align: center; font-weight: 600;
  border: 2px solid var(--loud); color: var(--loud); border-radius: 0.3rem; line-height: 1.7rem; }
.actions .number { border-color: var(--accent); color: var(--accent); border-radius: 1rem; }
.level { font-weight: 600; color: var(--loud); }
.expect { font-weight: 600; color: var(--accent); }
li ul, .notes { margin: 0.3rem 0; padding-left: 1.1rem; }
li ul li { margin: 0.15rem 0; }
.short { background: var(--card); border: 1px solid var(--rule); border-left: 5px solid var(--accent);
  border-radius: 0.3rem; padding: 0.5rem 1rem 0.5rem 0.4rem; margin-top: 1.3rem; font-size: 1.06rem; break-inside: avoid; }
.short ul { margin: 0.2rem 0; padding-left: 1.4rem; }
.short li { margin: 0.3rem 0; }
.lead { font-size: 1.15rem; }
.fail { border: 2px solid var(--loud); padding: 0.5rem 0.8rem; font-weight: 600; }
.scroll { overflow-x: auto; margin: 0.6rem 0; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; font-size: 0.94rem; }
th, td { text-align: left; vertical-align: top; padding: 0.35rem 0.8rem 0.35rem 0; border-bottom: 1px solid var(--rule);
  overflow-wrap: break-word; }
thead th { color: var(--soft); font-weight: 600; border-bottom: 1.5px solid var(--ink); }
tbody th { font-weight: 500; overflow-wrap: anywhere; min-width: 6rem; }
caption { text-align: left; color: var(--soft); padding-bottom: 0.3rem; }
figure { margin: 0 0 2rem; break-inside: avoid; }
figcaption { margin-bottom: 0.4rem; }
figcaption b { font-weight: 600; }
figure svg { display: block; width: 100%; height: auto; }
.key { display: inline-block; width: 1.6em; height: 0.8em; vertical-align: -0.05em; margin-right: 0.3em; }
.key.under { background: var(--shade); }
.key.trace { border-bottom: 2px solid var(--loud); height: 0.55em; vertical-align: 0.25em; }
.narrow { display: none; }
svg text { font-family: system-ui, "Segoe UI", "Helvetica Neue", Arial, "Noto Sans", sans-serif; fill: var(--ink); }
svg .tick { fill: var(--soft); }
svg .label { font-weight: 600; }
svg .grid { stroke: var(--rule); stroke-width: 1; }
svg .axis { stroke: var(--ink); stroke-width: 1.2; }
svg .trace { fill: none; stroke: var(--loud); stroke-width: 1.2; stroke-linejoin: round; }
svg .second { stroke: var(--accent); stroke-dasharray: 7 4; }
svg .under { fill: var(--shade); stroke: none; opacity: 0.75; }
svg .leader { stroke: var(--soft); stroke-width: 1; }
svg .mark { fill: var(--loud); stroke: var(--card); stroke-width: 1; }
svg .hollow { fill: var(--card); stroke: var(--accent); stroke-width: 1.6; }
svg .limit, svg .ceiling { stroke: var(--ink); stroke-width: 1.4; stroke-dasharray: 3 4; }
svg .ceiling { stroke-dasharray: none; }
svg .beyond { fill: var(--beyond); }
svg .moment { stroke: #fef6dd; stroke-width: 1; stroke-dasharray: 2 4; }
svg .track { fill: none; stroke: #ffffff; stroke-width: 1.4; stroke-dasharray: 6 5; }
svg .faint { stroke-width: 1; stroke-dasharray: 2 5; }
svg .dots { stroke-dasharray: 1.5 4; }
svg .track-name { fill: #ffffff; stroke: #111721; stroke-width: 3; paint-order: stroke; font-weight: 600; }
svg .track-edge { fill: none; stroke: #111721; stroke-width: 3; stroke-dasharray: 6 5; opacity: 0.6; }
svg .over { stroke: var(--paper); stroke-width: 4; paint-order: stroke; stroke-linejoin: round; }
svg .back { fill: var(--paper); }
svg .box { fill: var(--card); stroke: var(--ink); stroke-width: 1.4; }
svg .wire { fill: none; stroke: var(--ink); stroke-width: 1.6; stroke-linejoin: round; }
svg .probe { stroke-dasharray: 5 4; }
svg .gap { fill: none; stroke: var(--paper); stroke-width: 8; }
svg .shield { fill: none; stroke: var(--shade); stroke-width: 10; }
svg .body { fill: none; stroke: var(--soft); stroke-width: 6; stroke-linecap: round; }
svg .bold { stroke: var(--loud); stroke-width: 3.2; }
svg .entry { fill: var(--card); stroke: var(--accent); stroke-width: 2; }
svg .first { stroke: var(--loud); stroke-width: 3.4; }
svg .letter { font-weight: 700; }
svg .strand { fill: none; stroke: var(--accent); stroke-width: 2; }
svg .strand.bold { stroke: var(--loud); stroke-width: 3; }
svg .strand.gone { stroke: var(--soft); stroke-width: 1.3; }
svg .bar { fill: var(--accent); }
svg .bar-room { fill: none; stroke: var(--rule); stroke-width: 1; }
svg .bar-before { stroke: var(--ink); stroke-width: 2; }
svg .after { stroke-width: 1.1; }
svg .was { fill: var(--ink); }
svg .fall { stroke: var(--ink); stroke-width: 1.6; stroke-dasharray: 2 2; }
svg .fit { stroke: var(--loud); stroke-width: 2.4; }
svg .guide { stroke: var(--accent); stroke-width: 1.5; }
svg .guide.r { stroke-dasharray: 9 4; }
svg .guide.m { stroke-dasharray: 2 4; }
svg .guide.c { stroke-dasharray: 9 3 2 3; }
svg .error { stroke: var(--ink); stroke-width: 1.3; }
details { margin: 0.4rem 0 1.6rem; }
summary { color: var(--accent); cursor: pointer; }
.heard li { margin: 0 0 0.9rem; }
audio { width: 100%; max-width: 32rem; height: 2.4rem; }
.takes { display: grid; grid-template-columns: repeat(auto-fill, minmax(17rem, 1fr)); gap: 1.2rem 1.8rem; }
.takes h3 { font-size: 1rem; font-family: inherit; }
.takes section { break-inside: avoid; min-width: 0; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 0.1rem 0.8rem; margin: 0.2rem 0; font-size: 0.94rem; }
dt { color: var(--soft); }
dd { margin: 0; min-width: 0; }
footer { margin-top: 3rem; padding-top: 0.8rem; padding-bottom: 3rem; font-size: 0.9rem; }
a { color: var(--accent); }
@media screen and (max-width: 600px) {
  header, main, footer { padding-left: 0.9rem; padding-right: 0.9rem; }
  header { padding-top: 1.3rem; }
  h1 { font-size: 1.55rem; }
  .wide { display: none; }
  .narrow { display: block; }
  ol.plain > li { padding-left: 2.6rem; }
  thead { display: none; }
  table, tbody, tr, th, td, caption { display: block; }
  tbody th { font-weight: 600; border-bottom: none; padding-top: 0.6rem; }
  tbody td { border-bottom: none; padding: 0.05rem 0 0.05rem 0.8rem; }
  tbody td::before { content: attr(data-label) ": "; color: var(--soft); }
  tbody tr { border-bottom: 1px solid var(--rule); padding-bottom: 0.5rem; } }
@page { size: A4; margin: 15mm 14mm; }
@media print {
  :root { --paper: #ffffff; color-scheme: light; }
  html { font-size: 9.5pt; }
  header { padding-top: 0; }
  header, main, footer { max-width: none; padding-left: 0; padding-right: 0; }
  h2, h3, h2 + p { break-after: avoid; }
  h2 { margin-top: 1.8rem; }
  tr, .scroll, footer { break-inside: avoid; }
  figure { margin-bottom: 1.2rem; }
  footer { margin-top: 1.5rem; padding-bottom: 0; }
  .scroll { overflow: visible; }
  svg, .key { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
)";
}

}  // namespace hushtrace::page
