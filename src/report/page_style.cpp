#include <fmt/format.h>

#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

constexpr std::string_view kRules = R"(
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
h3.floor { margin-top: 1.6rem; }
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
td.long { overflow-wrap: anywhere; }
thead th { color: var(--soft); font-weight: 600; border-bottom: 1.5px solid var(--ink); }
tbody th { font-weight: 500; overflow-wrap: anywhere; min-width: 6rem; }
caption { text-align: left; color: var(--soft); padding-bottom: 0.3rem; }
caption.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); white-space: nowrap; }
.pixels { position: absolute; }
.does { font-weight: 600; font-size: 1.06rem; margin: 0 0 0.2rem; }
figure { margin: 0 0 2rem; break-inside: avoid; }
figcaption { margin-bottom: 0.4rem; }
figcaption b { font-weight: 600; }
figure svg { display: block; width: 100%; height: auto; }
.key { display: inline-block; width: 1.6em; height: 0.8em; vertical-align: -0.05em; margin-right: 0.3em; }
.key.under { background: var(--shade); }
.key.trace { border-bottom: 2px solid var(--loud); height: 0.55em; vertical-align: 0.25em; }
.narrow { display: none; }
.skip { position: absolute; left: 0.5rem; top: -6rem; padding: 0.4rem 0.8rem; background: var(--card); border: 2px solid var(--accent); }
.skip:focus { top: 0.5rem; }
.sheet { background: var(--card); border: 1px solid var(--rule); border-radius: 0.3rem; padding: 0.2rem 1.3rem 1rem; margin-top: 1.3rem; }
.sheet h2 { border-top: none; margin: 0.6rem 0 0; padding-top: 0; color: var(--accent); }
.sheet h3 { margin: 1.1rem 0 0.2rem; }
.sheet ul { margin: 0.2rem 0; padding-left: 1.2rem; }
.sheet li { margin: 0.2rem 0; }
.sheet .fail { margin: 0.6rem 0; }
.sheet .fail p { margin: 0; }
ul.check { list-style: none; padding-left: 0; }
ul.check li { padding-left: 1.7em; position: relative; margin: 0.3rem 0; }
ul.check li::before { content: ""; position: absolute; left: 0; top: 0.2em; width: 0.95em; height: 0.95em; border: 1.5px solid var(--ink); }
nav ul { columns: 16rem auto; column-gap: 1.8rem; list-style: none; padding: 0; margin: 1.2rem 0 0; font-size: 0.94rem; }
nav li { break-inside: avoid; margin: 0.15rem 0; }
dl.method { display: block; }
dl.method dt { font-weight: 600; color: var(--ink); margin-top: 0.5rem; }
section > h3 { margin-top: 1.1rem; }
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
@page { margin: 14mm; }
@media print {
  :root { --paper: #ffffff; color-scheme: light; }
  html { font-size: 9.5pt; }
  body { line-height: 1.4; }
  header { padding-top: 0; }
  h1 { font-size: 1.6rem; }
  header, main, footer { max-width: none; padding-left: 0; padding-right: 0; }
  h1, h2, h3, h2 + p, caption, thead, figcaption, summary, dt { break-after: avoid; }
  h2 + p, h3 + p { break-before: avoid; }
  h2 { margin-top: 1.8rem; }
  p, li { orphans: 2; widows: 2; }
  thead { display: table-header-group; }
  tr, dd, dt, .whole, .soft, .lead, .fail, footer { break-inside: avoid; }
  ol.plain > li { break-inside: auto; }
  figure { margin-bottom: 1rem; }
  figure svg { width: 86%; margin: 0 auto; }
  footer { margin-top: 1.5rem; padding-bottom: 0; }
  .scroll { overflow: visible; }
  .skip, nav, audio, details:not([open]) { display: none; }
  .sheet { border: none; padding: 0; margin-top: 0.6rem; background: none; break-after: page; line-height: 1.25; font-size: 1rem; }
  .sheet h3 { margin-top: 0.8rem; }
  .sheet h2 { margin-top: 0.4rem; }
  .sheet table { font-size: 0.94rem; }
  #technician { margin-top: 0; border-top: none; }
  svg, .key { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
@media (forced-colors: active) {
  :root { --paper: Canvas; --card: Canvas; --ink: CanvasText; --soft: CanvasText; --rule: GrayText; --accent: LinkText; --loud: CanvasText;
    --shade: GrayText; --beyond: Canvas; }
  .key { forced-color-adjust: none; } }
)";

}  // namespace

// What comes last wins: paper and forced colours follow the pictures' own rules.
std::string style() {
    return fmt::format("\n:root {{ color-scheme: light dark; {} }}\n@media screen and (prefers-color-scheme: dark) {{ :root {{ {} }} }}{}{}",
                       light_palette(), dark_palette(), picture_style().substr(0, picture_style().size() - 1), kRules);
}

}  // namespace hushtrace::page
