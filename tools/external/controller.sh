#!/bin/sh
# SPDX-License-Identifier: 0BSD
# A controller of your own in a script: the same hysteresis as the built-in one, over standard input and output.
#
#   build/shiftband run --controller-command 'sh tools/external/controller.sh' scenarios/tray-cart.yaml
#
# First comes one line "shiftband-controller 2 gears=2 start_gear=2 ... downshift_below=60 upshift_above=90 ...", without an answer. Then a line
# a sample, seven numbers, answered with the gear wanted, from 1; when the input ends, so does the script.
set -u

read -r name version constants || exit 0
[ "$name $version" = 'shiftband-controller 2' ] || { echo '! this script knows version 2'; exit 1; }

# Words NAME=VALUE; lists with commas have a number for each pair of gears, the slowest first.
for word in $constants; do
  case $word in
    gears=*) gears=${word#*=} ;;
    start_delay_samples=*) wait=${word#*=} ;;
    dwell_samples=*) dwell=${word#*=} ;;
    debounce_samples=*) debounce=${word#*=} ;;
    downshift_below=*) down=${word#*=} ;;
    upshift_above=*) up=${word#*=} ;;
  esac
done

# nth N LIST: the N-th number of a list with commas, from 1.
nth()
{
  list=$2
  while [ "$1" -gt 1 ]; do
    list=${list#*,}
    set -- $(($1 - 1))
  done
  number=${list%%,*}
}

below=0 above=0
while read -r _sample _time reading _percent gear _engaged deciding; do
  # After the start, after a command and in neutral nothing is counted.
  if [ "$wait" -gt 0 ]; then wait=$((wait - 1)) deciding=0; fi
  is_below=0 is_above=0
  if [ "$deciding" -eq 1 ] && [ "$gear" -gt 1 ]; then
    nth $((gear - 1)) "$down"
    [ "$reading" -ge "$number" ] || is_below=1
  fi
  if [ "$deciding" -eq 1 ] && [ "$gear" -lt "$gears" ]; then
    nth "$gear" "$up"
    [ "$reading" -le "$number" ] || is_above=1
  fi
  below=$((is_below * (below + 1)))
  above=$((is_above * (above + 1)))

  wanted=$gear
  if [ "$below" -ge "$debounce" ]; then
    wanted=$((gear - 1))
  elif [ "$above" -ge "$debounce" ]; then
    wanted=$((gear + 1))
  fi

  # The command's own sample is the first of the dwell.
  if [ "$wanted" -ne "$gear" ]; then
    below=0 above=0 wait=$((dwell > 0 ? dwell - 1 : 0))
  fi
  echo "$wanted"
done
