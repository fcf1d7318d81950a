#!/usr/bin/env bash
# Stands for the program in tests of the whole of it. Taking notes, keeps what each run printed. With a mutant on, a run that only
# prints and did not see it then prints the same again, at once.
real="$(dirname "$0")/../bin/$(basename "$0")"
[ -n "${MUTANT_RUNS:-}" ] || exec "$real" "$@"
read -r n 2>/dev/null <"$MUTANT_COUNT" || n=0
echo $((n + 1)) >"$MUTANT_COUNT"
kept="$MUTANT_RUNS/$n"
only_prints=""
if [ $# -eq 4 ] && [ "$2" = --job ] && [ "$4" = --json ]; then only_prints=yes; fi
if [ "$MUTANT" = -1 ]; then
  [ -n "$only_prints" ] || { MUTANT_NOTES="$kept.notes" exec "$real" "$@"; }
  MUTANT_NOTES="$kept.notes" "$real" "$@" >"$kept.out" 2>"$kept.err"
  code=$?
  if grep -qsF "$3" "$kept.out" "$kept.err"; then only_prints=""; else echo "$1 $code" >"$kept.code"; fi
  cat "$kept.out"; cat "$kept.err" >&2
  exit $code
fi
if [ -n "$only_prints" ] && [ -f "$kept.code" ] && ! grep -q "[ 	]$MUTANT:3 " "$kept.notes"; then
  read -r command code <"$kept.code"
  if [ "$command" = "$1" ]; then cat "$kept.out"; cat "$kept.err" >&2; exit "$code"; fi
fi
exec "$real" "$@"
