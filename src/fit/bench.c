// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/bench.h"

#include <math.h>
#include <string.h>

#include "base/shortage.h"

bool sb_bench_is_positive(int parameter)
{
  return parameter != SB_FIT_P_FRICTION_SHARE && parameter != SB_FIT_P_LOAD_FRICTION && parameter != SB_FIT_P_VISCOUS;
}

/* ---- x ---- */

struct sb_bench_place sb_bench_place_now(const struct sb_bench *bench)
{
  struct sb_bench_place place = {0};
  memcpy(place.p, bench->p, sizeof place.p);
  for (int t = 0; t < bench->test_count; t++) memcpy(place.own[t], bench->tests[t].own, sizeof place.own[t]);
  return place;
}

void sb_bench_go_to(struct sb_bench *bench, const struct sb_bench_place *place)
{
  memcpy(bench->p, place->p, sizeof place->p);
  for (int t = 0; t < bench->test_count; t++) memcpy(bench->tests[t].own, place->own[t], sizeof place->own[t]);
}

size_t sb_bench_unknown_count(const struct sb_bench *bench)
{
  size_t count = 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) count += bench->is_free[j];
  for (int t = 0; t < bench->test_count; t++) {
    for (int k = 0; k < SB_OWN_COUNT; k++) count += bench->tests[t].is_own_free[k];
  }
  return count;
}

void sb_bench_pack(const struct sb_bench *bench, double *x)
{
  const size_t count = sb_bench_unknown_count(bench);
  for (size_t j = 0; j < count; j++) x[j] = SB_BENCH_MIDDLE;
}

void sb_bench_unpack(const struct sb_bench *bench, const double *x, double *p, double (*own)[SB_OWN_COUNT])
{
  memcpy(p, bench->p, sizeof bench->p);
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    if (!bench->is_free[j]) continue;
    const double move = *x++ - SB_BENCH_MIDDLE;
    p[j] = sb_bench_is_positive(j) ? bench->p[j] * exp(move) : bench->p[j] + move * bench->scale[j];
  }
  for (int t = 0; t < bench->test_count; t++) {
    const struct sb_bench_test *test = &bench->tests[t];
    memcpy(own[t], test->own, sizeof test->own);
    for (int k = 0; k < SB_OWN_COUNT; k++) {
      if (test->is_own_free[k]) own[t][k] += (*x++ - SB_BENCH_MIDDLE) * test->own_scale[k];
    }
  }
}

/* ---- the machine ---- */

bool sb_bench_has_shift(const struct sb_bench *bench)
{
  for (int t = 0; t < bench->test_count; t++) {
    if (bench->tests[t].event_count > 0) return true;
  }
  return false;
}

/* What the parameters mean for the motor: see fit.h. */
struct motor_values {
  double resistance_ohm, kt, ke, friction_nm, viscous;
};

static struct motor_values motor_values(const struct sb_bench *bench, const double *p)
{
  struct motor_values m = {.viscous = bench->setup->model == NULL ? p[SB_FIT_P_VISCOUS] : 0.0};
  const double share = p[SB_FIT_P_FRICTION_SHARE], stall_a = p[SB_FIT_P_STALL_CURRENT];
  const double speed = p[SB_FIT_P_NO_LOAD_SPEED];
  m.resistance_ohm = bench->nominal_voltage_v / stall_a;
  m.kt = (p[SB_FIT_P_STALL_TORQUE] - m.viscous * speed) / (stall_a * (1.0 - share));
  m.ke = bench->nominal_voltage_v * (1.0 - share) / speed;
  m.friction_nm = m.kt * share * stall_a - m.viscous * speed;
  return m;
}

/* A resisting constant, or one that helps where noise has made friction negative: motion then stays smooth. */
static void set_constant(struct sb_load_part *part, double torque_nm)
{
  part->ops = sb_load_kind_find("constant");
  part->is_resisting = torque_nm >= 0.0;
  part->torque_nm = torque_nm;
}

static struct sb_load_part *find_part(struct sb_load *load, const char *kind)
{
  const struct sb_load_ops *ops = sb_load_kind_find(kind);
  for (int k = 0; k < load->part_count; k++) {
    const bool has_sense = load->parts[k].is_resisting || strcmp(kind, "viscous") == 0;
    if (load->parts[k].ops == ops && has_sense) return &load->parts[k];
  }
  if (load->part_count == SB_LOAD_PART_MAX) return NULL;
  struct sb_load_part *part = &load->parts[load->part_count++];
  *part = (struct sb_load_part){.ops = ops, .is_resisting = true};
  return part;
}

/* One gear of ratio one without loss: the shaft itself. */
static void make_bare(struct sb_model *model)
{
  *model = (struct sb_model){.drive.limit_fraction = 1.0};
  strcpy(model->name, "bench");
  model->shifter.ops = sb_shifter_kind_find("selector");
  model->shifter.timeout_s = INFINITY;
  model->gearbox.gear_count = 1;
  model->gearbox.gears[0] = (struct sb_gear){.mesh_count = 1, .motor_direction = +1, .back_efficiency = NAN};
  model->gearbox.gears[0].meshes[0] =
      (struct sb_mesh){.driver_teeth = 1.0, .driven_teeth = 1.0, .efficiency = 1.0, .is_internal = true};
  model->control.start_gear = 1;
  model->control.sample_period_s = 1.0;
  model->control.debounce_count = 1;
  model->limits = (struct sb_limits){
      .output_torque_nm = INFINITY, .winding_c = INFINITY, .stall_time_s = INFINITY, .hunt_window_s = NAN};
  sb_gearbox_derive(&model->gearbox);
}

static void set_mesh_efficiency(struct sb_gearbox *gearbox, double efficiency)
{
  for (int g = 0; g < gearbox->gear_count; g++) {
    struct sb_gear *gear = &gearbox->gears[g];
    if (gear->back_efficiency == gear->efficiency) gear->back_efficiency = NAN; /* it follows */
    if (gear->back_efficiency == 2.0 - 1.0 / gear->efficiency) gear->back_efficiency = SB_BACK_EFFICIENCY_AUTO;
    for (int k = 0; k < gear->mesh_count; k++) gear->meshes[k].efficiency = efficiency;
  }
  sb_gearbox_derive(gearbox);
}

/* Whether one efficiency for all meshes takes the place of the scenario's: in a walk along the valley it is held, and counts. */
static bool has_own_efficiency(const struct sb_bench *bench)
{
  return bench->is_free[SB_FIT_P_MESH_EFFICIENCY] ||
         (sb_bench_has_shift(bench) && bench->setup->is_fitted[SB_FIT_P_MESH_EFFICIENCY]);
}

bool sb_bench_machine(const struct sb_bench *bench, const double *p, double added_inertia_kg_m2, struct sb_model *out)
{
  const struct motor_values m = motor_values(bench, p);
  if (!(m.kt > 0.0 && m.ke > 0.0 && isfinite(m.friction_nm))) return false;
  const bool is_bare = bench->setup->model == NULL;
  if (is_bare) {
    make_bare(out);
    out->load.inertia_kg_m2 = 1e-9 * p[SB_FIT_P_ROTOR_INERTIA] + added_inertia_kg_m2;
  } else {
    *out = *bench->setup->model;
    out->load.inertia_kg_m2 = p[SB_FIT_P_LOAD_INERTIA] + added_inertia_kg_m2;
    if (has_own_efficiency(bench)) set_mesh_efficiency(&out->gearbox, p[SB_FIT_P_MESH_EFFICIENCY]);
  }
  out->motor = (struct sb_motor){.nominal_voltage_v = bench->nominal_voltage_v,
                                 .no_load_speed_rad_s = p[SB_FIT_P_NO_LOAD_SPEED],
                                 .stall_torque_nm = p[SB_FIT_P_STALL_TORQUE],
                                 .has_currents = true,
                                 .stall_current_a = p[SB_FIT_P_STALL_CURRENT],
                                 .no_load_current_a = p[SB_FIT_P_FRICTION_SHARE] * p[SB_FIT_P_STALL_CURRENT],
                                 .rotor_inertia_kg_m2 = p[SB_FIT_P_ROTOR_INERTIA],
                                 .resistance_ohm = m.resistance_ohm,
                                 .kt_nm_a = m.kt,
                                 .ke_vs_rad = m.ke,
                                 .friction_nm = fmax(m.friction_nm, 0.0)};
  struct sb_load_part *constant = find_part(&out->load, "constant");
  struct sb_load_part *viscous = find_part(&out->load, "viscous");
  if (constant == NULL || viscous == NULL) return false;
  set_constant(constant, is_bare ? fmin(m.friction_nm, 0.0) : p[SB_FIT_P_LOAD_FRICTION]);
  viscous->viscous_nms_rad = p[SB_FIT_P_VISCOUS];
  /* The log itself says what feeds the motor: nothing of that is left to the scenario. */
  out->supply = (struct sb_supply){.open_circuit_voltage_v = bench->nominal_voltage_v,
                                   .current_limit_a = bench->has_currents ? bench->current_limit_a : 0.0};
  out->drive = (struct sb_drive){.limit_fraction = 1.0, .period_s = out->drive.period_s};
  out->battery = (struct sb_battery){.is_present = false};
  out->winding = (struct sb_winding){.is_present = false, .cut_out_c = INFINITY};
  out->magnet = (struct sb_magnet){.is_present = false};
  return true;
}

double sb_bench_figure(const struct sb_bench *bench, const double *p, enum sb_fit_figure_kind kind)
{
  const struct motor_values m = motor_values(bench, p);
  const bool is_bare = bench->setup->model == NULL;
  const double inertia = p[SB_FIT_P_ROTOR_INERTIA];
  switch (kind) {
    case SB_FIT_NO_LOAD_SPEED: return p[SB_FIT_P_NO_LOAD_SPEED];
    case SB_FIT_STALL_TORQUE: return p[SB_FIT_P_STALL_TORQUE];
    case SB_FIT_STALL_CURRENT: return p[SB_FIT_P_STALL_CURRENT];
    case SB_FIT_NO_LOAD_CURRENT: return p[SB_FIT_P_FRICTION_SHARE] * p[SB_FIT_P_STALL_CURRENT];
    case SB_FIT_ROTOR_INERTIA: return inertia;
    case SB_FIT_MESH_EFFICIENCY: return is_bare ? (double)NAN : p[SB_FIT_P_MESH_EFFICIENCY];
    case SB_FIT_LOAD_FRICTION: return is_bare ? (double)NAN : p[SB_FIT_P_LOAD_FRICTION];
    case SB_FIT_LOAD_VISCOUS: return is_bare ? (double)NAN : p[SB_FIT_P_VISCOUS];
    case SB_FIT_LOAD_INERTIA: return is_bare ? (double)NAN : p[SB_FIT_P_LOAD_INERTIA];
    case SB_FIT_MOTOR_FRICTION: return m.friction_nm;
    case SB_FIT_MOTOR_VISCOUS: return is_bare ? m.viscous : (double)NAN;
    case SB_FIT_RESISTANCE: return m.resistance_ohm;
    case SB_FIT_KT: return m.kt;
    case SB_FIT_KE: return m.ke;
    case SB_FIT_KT_OVER_KE: return m.kt / m.ke;
    case SB_FIT_TIME_CONSTANT:
      return is_bare ? inertia * p[SB_FIT_P_NO_LOAD_SPEED] / p[SB_FIT_P_STALL_TORQUE] : (double)NAN;
    case SB_FIT_TORQUE_OVER_INERTIA: return is_bare ? p[SB_FIT_P_STALL_TORQUE] / inertia : (double)NAN;
    case SB_FIT_FRICTION_OVER_INERTIA: return is_bare ? m.friction_nm / inertia : (double)NAN;
    case SB_FIT_VISCOUS_OVER_INERTIA: return is_bare ? m.viscous / inertia : (double)NAN;
    case SB_FIT_FIGURE_COUNT: break;
  }
  return NAN;
}

/* ---- readings ---- */

/* Common practice: what a builder's own figures may well be off by, in scales and e-folds; an inertia may be off by one. */
static const double friction_prior = 0.1, efficiency_prior = 0.25, loss_prior = 0.05;

/* How much a parameter is beyond what one believes of it, in units of what noise may well bring it to: friction below zero, an
 * efficiency above one or far from the scenario's, anything else many times what the scenario has. */
static double beyond_prior(const struct sb_bench *bench, const double *p, int parameter)
{
  if (!bench->setup->is_fitted[parameter]) return 0.0;
  if (!sb_bench_is_positive(parameter)) return fmin(p[parameter], 0.0) / (friction_prior * bench->scale[parameter]);
  if (!(bench->prior[parameter] > 0.0)) return 0.0;
  const double from_scenario = log(p[parameter] / bench->prior[parameter]);
  if (parameter != SB_FIT_P_MESH_EFFICIENCY) return from_scenario;
  return hypot(from_scenario / efficiency_prior, fmax(log(p[parameter]), 0.0) / loss_prior);
}

size_t sb_bench_priors(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *off,
                       double *weights)
{
  size_t count = 0;
  if (!sb_bench_has_shift(bench)) return 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    if (off != NULL) off[count] = beyond_prior(bench, p, j);
    if (weights != NULL) weights[count] = 1.0;
    count++;
  }
  for (int t = 0; t < bench->test_count; t++) {
    const struct sb_bench_test *test = &bench->tests[t];
    for (size_t k = 0; k < test->event_count; k++) {
      const struct sb_bench_event *event = &test->events[k];
      if (!(event->spread_s > 0.0)) continue;
      if (off != NULL) off[count] = (own[t][SB_OWN_EVENT + k] - event->middle_s) / event->spread_s;
      if (weights != NULL) weights[count] = 1.0;
      count++;
    }
  }
  return count;
}

double sb_bench_time(const struct sb_bench_test *test, size_t row)
{
  return test->log->time_s[row];
}

const double *sb_bench_speeds(const struct sb_log *log)
{
  return log->columns[SB_LOG_MOTOR_SPEED] != NULL ? log->columns[SB_LOG_MOTOR_SPEED]
                                                  : log->columns[SB_LOG_OUTPUT_SPEED];
}

double sb_bench_voltage(const struct sb_bench *bench, const struct sb_log *log, size_t row)
{
  const double *voltages = log->columns[SB_LOG_SUPPLY_VOLTAGE], *duties = log->columns[SB_LOG_DUTY];
  const double fed = voltages != NULL && !isnan(voltages[row]) ? voltages[row] : bench->fed_voltage_v;
  const double true_v = fed / bench->gains[SB_FIT_GAUGE_VOLTAGE];
  return duties != NULL && !isnan(duties[row]) ? duties[row] * true_v : true_v;
}

enum sb_status sb_bench_no_memory(struct sb_error *err)
{
  sb_shortage_note();
  return sb_fail(err, SB_ERR_MEMORY, "fit: out of memory");
}
