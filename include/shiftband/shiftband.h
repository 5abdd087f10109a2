// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * shiftband.h - all public headers of the library.
 *
 * Until version 1.0 the structs are public, and any of them may change with a minor version: 0.2 needs programs compiled
 * again, and a shared library changes its soname with each minor version. Only journals and studies (tasks.h) are opaque:
 * they are files that the library writes and reads, not structs.
 */
#ifndef SHIFTBAND_SHIFTBAND_H
#define SHIFTBAND_SHIFTBAND_H

#include "shiftband/battery.h"
#include "shiftband/body.h"
#include "shiftband/check.h"
#include "shiftband/closed_form.h"
#include "shiftband/columns.h"
#include "shiftband/controller.h"
#include "shiftband/crossover.h"
#include "shiftband/discharge.h"
#include "shiftband/drive.h"
#include "shiftband/driveshaft.h"
#include "shiftband/emit.h"
#include "shiftband/external_controller.h"
#include "shiftband/external_program.h"
#include "shiftband/fit.h"
#include "shiftband/gearbox.h"
#include "shiftband/handle.h"
#include "shiftband/inspect.h"
#include "shiftband/limiter.h"
#include "shiftband/load.h"
#include "shiftband/log.h"
#include "shiftband/magnet.h"
#include "shiftband/map.h"
#include "shiftband/model.h"
#include "shiftband/motor.h"
#include "shiftband/outputs.h"
#include "shiftband/overlay.h"
#include "shiftband/prove.h"
#include "shiftband/road.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"
#include "shiftband/sensor.h"
#include "shiftband/shifter.h"
#include "shiftband/sim.h"
#include "shiftband/status.h"
#include "shiftband/strength.h"
#include "shiftband/table.h"
#include "shiftband/tasks.h"
#include "shiftband/trace.h"
#include "shiftband/tune.h"
#include "shiftband/units.h"
#include "shiftband/verdict.h"
#include "shiftband/winding.h"

#endif
