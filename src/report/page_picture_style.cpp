#include "page_parts.hpp"

namespace hushtrace::page {

// Blue-green and rust stay apart for the common kinds of colour blindness, and differ in lightness; shapes, dashes,
// shading and words say the same again.
std::string_view light_palette() {
    return R"(--paper: #fbfaf6; --card: #ffffff; --ink: #20262b; --soft: #59636b; --rule: #d8d5cb; --accent: #1f5f6e; --loud: #a8431a;
  --shade: #9fb6bd; --beyond: #f3e3d6;)";
}

std::string_view dark_palette() {
    return R"(--paper: #14191d; --card: #1b2227; --ink: #e7e4dc; --soft: #a3adb3; --rule: #36414a; --accent: #7fc3cf; --loud: #f0945f;
  --shade: #41606b; --beyond: #33261f;)";
}

std::string_view picture_style() {
    return R"(
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
svg .dashdot { stroke-dasharray: 10 4 2 4; }
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
svg .unknown { fill: none; stroke: var(--soft); stroke-width: 1.2; stroke-dasharray: 4 4; }
svg .level-top { stroke: var(--loud); stroke-width: 3.4; }
svg .level-floor { stroke: var(--accent); stroke-width: 3.4; stroke-dasharray: 5 3; }
)";
}

}  // namespace hushtrace::page
