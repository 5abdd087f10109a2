// SPDX-License-Identifier: GPL-3.0-or-later
/* shiftband.h - all public headers of the library. */
#ifndef SHIFTBAND_SHIFTBAND_H
#define SHIFTBAND_SHIFTBAND_H

#include "shiftband/body.h"
#include "shiftband/caution.h"
#include "shiftband/closed_form.h"
#include "shiftband/controller.h"
#include "shiftband/gearbox.h"
#include "shiftband/grid.h"
#include "shiftband/json.h"
#include "shiftband/ledger.h"
#include "shiftband/load.h"
#include "shiftband/map.h"
#include "shiftband/map_report.h"
#include "shiftband/model.h"
#include "shiftband/motor.h"
#include "shiftband/picture.h"
#include "shiftband/reading.h"
#include "shiftband/report.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"
#include "shiftband/shifter.h"
#include "shiftband/sim.h"
#include "shiftband/spread.h"
#include "shiftband/status.h"
#include "shiftband/strength.h"
#include "shiftband/study.h"
#include "shiftband/survival.h"
#include "shiftband/trace.h"
#include "shiftband/tune.h"
#include "shiftband/units.h"
#include "shiftband/verdict.h"

#endif
