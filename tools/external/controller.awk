#!/usr/bin/awk -f
# SPDX-License-Identifier: 0BSD
# A controller of your own in a script: the same hysteresis as the built-in one, over standard input and output.
#
#   build/shiftband run --controller-command 'awk -f tools/external/controller.awk' scenarios/tray-cart.yaml
#
# First comes one line "shiftband-controller 2 gears=2 start_gear=2 ... downshift_below=60 upshift_above=90 ...", without an answer. Then a line
# a sample, answered with the gear wanted, from 1:
#
#   $1 sample   $2 time, s   $3 reading   $4 reading, %   $5 gear   $6 a gear is engaged   $7 and the drive is on
#
# Answers must leave at once: fflush(). mawk reads ahead, and needs -W interactive for that; other awks don't know the
# option:
#
#   --controller-command 'mawk -W interactive -f tools/external/controller.awk'

# The line of what stays the same: words NAME=VALUE, and lists with commas, one number a pair of gears.
NR == 1 {
  if ($1 != "shiftband-controller" || $2 != 2) { print "! this script knows version 2"; fflush(); exit 1 }
  for (i = 3; i <= NF; i++) { at = index($i, "="); said[substr($i, 1, at - 1)] = substr($i, at + 1) }
  split(said["downshift_below"], down, ",")
  split(said["upshift_above"], up, ",")
  wait = said["start_delay_samples"]
  next
}

# One sample. Pair p lies between gears p and p + 1.
{
  gear = $5
  decides = $7
  if (wait > 0) { wait--; decides = 0 }
  below = decides && gear > 1 && $3 + 0 < down[gear - 1] + 0 ? below + 1 : 0
  above = decides && gear < said["gears"] && $3 + 0 > up[gear] + 0 ? above + 1 : 0

  wanted = gear
  if (below >= said["debounce_samples"] + 0) wanted = gear - 1
  else if (above >= said["debounce_samples"] + 0) wanted = gear + 1

  # The command's own sample is the first of the dwell.
  if (wanted != gear) { wait = said["dwell_samples"] > 0 ? said["dwell_samples"] - 1 : 0; below = above = 0 }
  print wanted
  fflush()
}
