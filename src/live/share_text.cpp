#include "share_text.hpp"

namespace hushtrace {
namespace {

constexpr std::string_view head = R"page(<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">
<meta name="color-scheme" content="light dark">
<meta name="robots" content="noindex">
<title>Hushtrace</title>
<link rel="icon" href="data:,">
)page";

constexpr std::string_view body = R"page(</head>
<body>
<header>
  <h1 id="title">Hushtrace</h1>
  <p id="link" role="status">Connecting</p>
</header>
<main>
  <p id="headline" aria-live="polite">Waiting for the first figures.</p>
  <section id="now" aria-label="Now">
    <p id="whose"></p>
    <p id="figure"><span id="value">–</span> <span id="unit"></span></p>
    <p id="beside"></p>
    <div id="others"></div>
  </section>
  <p id="next"></p>
  <p id="found"></p>
  <p id="trouble"></p>
  <p id="stored"></p>
  <p id="newest"></p>
  <details>
    <summary>What happened</summary>
    <ol id="happened"></ol>
  </details>
  <p id="dims" hidden>This browser can't keep the screen on: set the phone's screen time-out longer.</p>
  <p class="caution">Vehicle parked. Nobody uses this page while driving.</p>
  <noscript>This page needs JavaScript.</noscript>
</main>
<nav id="buttons" class="three" aria-label="Buttons">
  <p id="answer" role="status"></p>
  <button id="big" class="big" type="button" disabled>Start</button>
  <button id="second" type="button" disabled>One back</button>
  <button id="mark" type="button" disabled>Mark</button>
  <button id="keep" type="button" hidden disabled>Keep</button>
  <button id="stop" type="button" disabled>Stop</button>
</nav>
)page";

}  // namespace

std::string share_text(std::string_view nonce) {
    const std::string carries = "nonce=\"" + std::string(nonce) + "\"";
    std::string page(head);
    page.append("<style ").append(carries).append(">").append(share_style()).append("</style>\n").append(body);
    page.append("<script ").append(carries).append(">").append(share_script()).append("</script>\n</body>\n</html>\n");
    return page;
}

// Sun on a dash: black on white, few greys. What a colour says is also said by a word and a shape.
std::string_view share_style() {
    return R"page(
:root { color-scheme: light dark; --paper: #ffffff; --ink: #000000; --soft: #3c3c3c; --press: #0a4a52; --on-press: #ffffff;
  --bad: #8a1500; --on-bad: #ffffff; --line: #000000; }
@media (prefers-color-scheme: dark) { :root { --paper: #000000; --ink: #ffffff; --soft: #c8c8c8; --press: #8fe3ea; --on-press: #000000;
  --bad: #ff9d85; --on-bad: #000000; --line: #ffffff; } }
* { box-sizing: border-box; margin: 0; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
[hidden] { display: none !important; }
body { background: var(--paper); color: var(--ink); font: 600 18px/1.25 system-ui, Roboto, "Helvetica Neue", Arial, sans-serif;
  display: flex; flex-direction: column; min-height: 100vh; overflow-wrap: anywhere; font-variant-numeric: tabular-nums;
  padding: env(safe-area-inset-top) env(safe-area-inset-right) env(safe-area-inset-bottom) env(safe-area-inset-left); }
header { display: flex; gap: 12px; justify-content: space-between; align-items: baseline; padding: 8px 12px;
  border-bottom: 2px solid var(--line); }
h1 { font-size: 16px; font-weight: 600; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; min-width: 0; }
#link { font-size: 16px; white-space: nowrap; }
.lost #link { background: var(--bad); color: var(--on-bad); padding: 2px 8px; border-radius: 4px; }
main { flex: 1; padding: 8px 12px 0; }
main > * { margin-bottom: 6px; }
main p:empty { display: none; }
#headline { font-size: 24px; font-weight: 800; line-height: 1.15; }
.lost #now { opacity: 0.45; }
#whose { display: flex; flex-wrap: wrap; gap: 2px 10px; align-items: center; font-size: 20px; overflow-wrap: normal; }
.state { border: 3px solid var(--line); border-radius: 6px; padding: 0 8px; font-weight: 800; white-space: nowrap; }
.state.bad { background: var(--bad); color: var(--on-bad); border-style: double; }
.state.dim { border-style: dashed; }
#figure { line-height: 1; white-space: nowrap; font-weight: 800; letter-spacing: -0.02em; }
#value { font-size: 22vw; font-size: min(23vw, 19vh); }
#unit { font-size: 9vw; font-size: min(9vw, 8vh); letter-spacing: 0; }
#figure.long #value { font-size: 17vw; font-size: min(17vw, 19vh); }
#figure.longest #value { font-size: 13vw; font-size: min(13vw, 19vh); }
#figure.long #unit, #figure.longest #unit { font-size: 7vw; font-size: min(7vw, 8vh); }
#beside { font-size: 20px; }
#others { font-size: 20px; }
#others p { display: flex; justify-content: space-between; gap: 10px; border-top: 1px solid var(--line); padding: 3px 0; }
#found { font-size: 20px; font-weight: 800; border-left: 8px solid var(--press); padding-left: 8px; }
#next { font-size: 20px; }
#trouble { color: var(--bad); font-weight: 800; }
#stored, #newest, .caution, #dims, details { font-size: 15px; color: var(--soft); }
summary { padding: 10px 0; }
#happened { padding-left: 0; list-style: none; }
#happened li { padding: 3px 0; }
nav { position: sticky; bottom: 0; background: var(--paper); border-top: 2px solid var(--line); padding: 8px 12px 10px; display: grid;
  grid-template-columns: repeat(4, 1fr); gap: 8px; }
nav.three { grid-template-columns: repeat(3, 1fr); }
#answer { grid-column: 1 / -1; font-size: 16px; }
#answer:empty { display: none; }
#answer.bad { background: var(--bad); color: var(--on-bad); padding: 4px 8px; border-radius: 4px; }
button { font: inherit; font-size: 18px; line-height: 1.1; min-height: 64px; min-width: 0; padding: 4px; border-radius: 10px;
  border: 3px solid var(--line); background: var(--paper); color: var(--ink); touch-action: manipulation; -webkit-user-select: none;
  user-select: none; -webkit-tap-highlight-color: transparent; }
button.big { grid-column: 1 / -1; min-height: 84px; font-size: 26px; font-weight: 800; background: var(--press); color: var(--on-press);
  border-color: var(--press); }
button:active:not(:disabled) { transform: translateY(2px); filter: invert(0.25); }
button:disabled { opacity: 0.4; }
button:focus-visible { outline: 4px solid var(--press); outline-offset: 2px; }
button.sure { background: var(--bad); color: var(--on-bad); border-color: var(--bad); }
@media (max-width: 340px) { #headline { font-size: 21px; } #whose, #beside, #others, #found, #next { font-size: 17px; } }
@media (orientation: landscape) and (max-height: 560px) {
  body { display: grid; grid-template-columns: 1fr minmax(260px, 38%); grid-template-rows: auto 1fr; }
  header { grid-column: 1 / -1; padding: 3px 12px; }
  main { padding-top: 4px; }
  main > * { margin-bottom: 3px; }
  #value { font-size: 24vh; font-size: min(15vw, 24vh); }
  #unit { font-size: 10vh; font-size: min(6vw, 10vh); }
  #headline { font-size: 20px; }
  #whose, #beside, #others, #found, #next { font-size: 17px; }
  button.big { font-size: 22px; }
  nav, nav.three { grid-template-columns: 1fr 1fr; }
  nav { border-top: 0; border-left: 2px solid var(--line); align-content: end; align-self: end; }
  .three #stop { grid-column: 1 / -1; }
}
@media (prefers-reduced-motion: reduce) { button:active:not(:disabled) { transform: none; } }
)page";
}

}  // namespace hushtrace
