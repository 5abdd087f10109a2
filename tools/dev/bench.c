// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * bench.c - how fast a whole run is, beside three plainer ways of stepping the same machine at the same step; and how
 * fast a map of all thresholds is; all over the time of the bare loop.
 *
 *   run          sb_run(): two gears with a swing arm, controller and monitor running, every event located, energies and
 *                peaks kept, no trace. About 20 s of machine time with a downshift and an upshift in it.
 *   bare         the least that could be written by hand for one gear: classical Runge-Kutta over speed and angle, all
 *                coefficients worked out beforehand, the rate inlined. No events, no energies, no second gear.
 *   gsl step     the same rate through gsl_odeiv2_step_apply() with rk4, rates handed from step to step. GSL takes each
 *                step as two halves (about three times as many rates), for that is how it knows its error.
 *   gsl driver   the same through gsl_odeiv2_driver_apply_fixed_step(), one call for all steps.
 *
 * The four take turns; each round gives one ratio of times, and the median of the rounds is printed, so that what
 * slows the whole computer down cancels. All take the same number of steps of the same length under the same load.
 *
 *   map exact, rounded   sb_map_exact() of that machine over the whole plane at 0.1 %, the load rising and falling once;
 *                        readings exact, or rounded to 1 %; one thread
 *   cycle                a load that comes and goes every 10 s: an eighth of what the map of twelve such cycles takes longer
 *                        than that of four
 *   extras               the run of the same machine with a winding that warms (ticks of 5 ms), on wheels that could slip,
 *                        through a shaft that gives; what a plain machine pays for them is in run_over_bare
 *   NAME                 the exact map of a shipped scenario over the whole plane, one thread, once
 *   commands             processor time and peak memory of whole commands, once: the map of the grindstone, tuning, a million
 *                        machines from a shelf, the fit of a log with a dozen shifts, a log beside a simulation that it
 *                        differs from
 *   threads              a study of many maps, each of a slightly different motor, with one thread over that with two
 */
#ifndef _DEFAULT_SOURCE
#define _DEFAULT_SOURCE /* wait4() */
#endif
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "prove/any_load.h"
#include "shiftband/map.h"
#include "shiftband/scenario.h"
#include "shiftband/tasks.h"

enum { ROUND_COUNT = 41, RUNS_A_ROUND = 8, WAY_COUNT = 4, STEP_COUNT = 20000 };
enum { MAP_ROUND_COUNT = 15, CYCLE_ROUND_COUNT = 7, THREAD_ROUND_COUNT = 7, EXTRA_ROUND_COUNT = 9, MACHINE_COUNT = 64 };

static const double step_s = 1e-3;

/* Results end here, so that no loop can be left out. */
static volatile double sink;

/* The machine ------------------------------------------------------------------------------------------------------ */

enum { POINT_COUNT = 6 };
static const double load_time_s[POINT_COUNT] = {0.0, 5.0, 6.0, 12.0, 13.0, 20.0};
static const double load_nm[POINT_COUNT] = {0.1, 0.1, 0.8, 0.8, 0.1, 0.1};
static const double constant_nm = 0.05, viscous_nms = 0.002;

static void add_part(struct sb_model *model, const char *kind, struct sb_load_part part)
{
  part.ops = sb_load_kind_find(kind);
  part.is_resisting = true;
  model->load.parts[model->load.part_count++] = part;
}

static int make_model(struct sb_model *model)
{
  const double rpm = 3.14159265358979323846 / 30.0;
  *model = (struct sb_model){.drive.limit_fraction = 1.0};
  model->motor = (struct sb_motor){.nominal_voltage_v = 12.0,
                                   .no_load_speed_rad_s = 310.0 * rpm,
                                   .stall_torque_nm = 0.42,
                                   .has_currents = true,
                                   .stall_current_a = 2.6,
                                   .no_load_current_a = 0.14,
                                   .rotor_inertia_kg_m2 = 2.1e-4};
  model->supply = (struct sb_supply){.open_circuit_voltage_v = 12.4, .internal_resistance_ohm = 0.25};
  model->gearbox.gear_count = 2;
  model->gearbox.gears[0] = (struct sb_gear){.mesh_count = 3,
                                             .meshes = {{.driver_teeth = 15, .driven_teeth = 30, .efficiency = 0.96},
                                                        {.driver_teeth = 18, .driven_teeth = 36, .efficiency = 0.96},
                                                        {.driver_teeth = 14, .driven_teeth = 42, .efficiency = 0.96}},
                                             .motor_direction = -1,
                                             .back_efficiency = NAN};
  model->gearbox.gears[1] = (struct sb_gear){.mesh_count = 2,
                                             .meshes = {{.driver_teeth = 15, .driven_teeth = 30, .efficiency = 0.96},
                                                        {.driver_teeth = 18, .driven_teeth = 36, .efficiency = 0.96}},
                                             .motor_direction = 1,
                                             .back_efficiency = NAN};
  model->shifter = (struct sb_shifter){.ops = sb_shifter_kind_find("swing arm"), .swing_turns = 0.4, .timeout_s = 2.0};
  model->load.inertia_kg_m2 = 0.004;
  add_part(model, "viscous", (struct sb_load_part){.viscous_nms_rad = viscous_nms});
  add_part(model, "constant", (struct sb_load_part){.torque_nm = constant_nm});
  add_part(model, "profile", (struct sb_load_part){.table = {POINT_COUNT, load_time_s, load_nm}});
  model->control = (struct sb_control){.start_gear = 2,
                                       .sample_period_s = 0.02,
                                       .start_delay_s = 0.6,
                                       .dwell_s = 1.5,
                                       .downshift_fraction = {0.6},
                                       .upshift_fraction = {0.9},
                                       .debounce_count = 1,
                                       .sensor = {.reference_rad_s = model->motor.no_load_speed_rad_s}};
  model->run = (struct sb_run_setup){.duration_s = STEP_COUNT * step_s, .step_s = step_s, .trace_interval_s = 0.01};
  model->limits = (struct sb_limits){
      .output_torque_nm = INFINITY, .winding_c = INFINITY, .stall_time_s = 0.5, .hunt_window_s = NAN};
  struct sb_error err = {0};
  if (sb_motor_derive(&model->motor, &err) != SB_OK) return -1;
  sb_gearbox_derive(&model->gearbox);
  return 0;
}

/* The same machine in its fast gear, reduced to what a rate needs -------------------------------------------------- */

struct bare {
  double free_rate;      /* dw/dt at w = 0 without load, constant part of the load taken off */
  double rate_per_speed; /* of w, viscous load included */
  double rate_per_load;  /* of the profile's torque */
  double turn_per_speed; /* 1 / N */
};

static struct bare bare_of(const struct sb_model *model)
{
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  const struct sb_gear *gear = &model->gearbox.gears[1];
  const double k = gear->ratio * gear->efficiency;
  const double inertia = model->motor.rotor_inertia_kg_m2 + model->load.inertia_kg_m2 / (k * gear->ratio);
  return (struct bare){.free_rate = (line.stall_nm - line.friction_nm - constant_nm / k) / inertia,
                       .rate_per_speed = -(line.slope_nms_rad + viscous_nms / (k * gear->ratio)) / inertia,
                       .rate_per_load = -1.0 / (k * inertia),
                       .turn_per_speed = 1.0 / gear->ratio};
}

static inline double profile_nm(double time_s)
{
  if (time_s < 5.0) return 0.1;
  if (time_s < 6.0) return 0.1 + 0.7 * (time_s - 5.0);
  if (time_s < 12.0) return 0.8;
  if (time_s < 13.0) return 0.8 - 0.7 * (time_s - 12.0);
  return 0.1;
}

static inline double speed_rate(const struct bare *bare, double time_s, double speed)
{
  return bare->free_rate + bare->rate_per_speed * speed + bare->rate_per_load * profile_nm(time_s);
}

static void run_bare(const struct bare *bare)
{
  const double h = step_s, half = 0.5 * h, sixth = h / 6.0, turn = bare->turn_per_speed;
  double speed = 0.0, angle = 0.0;
  for (int i = 0; i < STEP_COUNT; i++) {
    const double t = i * h;
    const double k1 = speed_rate(bare, t, speed);
    const double s2 = speed + half * k1;
    const double k2 = speed_rate(bare, t + half, s2);
    const double s3 = speed + half * k2;
    const double k3 = speed_rate(bare, t + half, s3);
    const double s4 = speed + h * k3;
    const double k4 = speed_rate(bare, t + h, s4);
    angle += sixth * turn * (speed + 2.0 * (s2 + s3) + s4);
    speed += sixth * (k1 + 2.0 * (k2 + k3) + k4);
  }
  sink = speed + angle;
}

static int gsl_rate(double t, const double y[], double dydt[], void *params)
{
  const struct bare *bare = params;
  dydt[0] = speed_rate(bare, t, y[0]);
  dydt[1] = bare->turn_per_speed * y[0];
  return GSL_SUCCESS;
}

static int run_gsl_step(struct bare *bare)
{
  const gsl_odeiv2_system system = {gsl_rate, NULL, 2, bare};
  gsl_odeiv2_step *step = gsl_odeiv2_step_alloc(gsl_odeiv2_step_rk4, 2);
  if (step == NULL) return -1;
  double y[2] = {0.0, 0.0}, error[2], rate_in[2], rate_out[2];
  gsl_rate(0.0, y, rate_in, bare);
  int status = GSL_SUCCESS;
  for (int i = 0; i < STEP_COUNT && status == GSL_SUCCESS; i++) {
    status = gsl_odeiv2_step_apply(step, i * step_s, step_s, y, error, rate_in, rate_out, &system);
    rate_in[0] = rate_out[0];
    rate_in[1] = rate_out[1];
  }
  gsl_odeiv2_step_free(step);
  sink = y[0] + y[1];
  return status == GSL_SUCCESS ? 0 : -1;
}

static int run_gsl_driver(struct bare *bare)
{
  const gsl_odeiv2_system system = {gsl_rate, NULL, 2, bare};
  /* Wide tolerances: a fixed step is refused when its error is above them. */
  gsl_odeiv2_driver *driver = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk4, step_s, 1.0, 1.0);
  if (driver == NULL) return -1;
  double y[2] = {0.0, 0.0}, t = 0.0;
  const int status = gsl_odeiv2_driver_apply_fixed_step(driver, &t, step_s, STEP_COUNT, y);
  gsl_odeiv2_driver_free(driver);
  sink = y[0] + y[1];
  return status == GSL_SUCCESS ? 0 : -1;
}

/* The measurement -------------------------------------------------------------------------------------------------- */

static int run_model(const struct sb_model *model)
{
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {0};
  if (sb_run(model, &options, &result, &err) != SB_OK) {
    fprintf(stderr, "bench: %s\n", err.text);
    return -1;
  }
  sink = result.end.motor_speed_rad_s + result.sums.energy.given;
  sb_run_result_clear(&result);
  return 0;
}

enum way { WAY_RUN, WAY_BARE, WAY_GSL_STEP, WAY_GSL_DRIVER };

static int go(enum way way, const struct sb_model *model, struct bare *bare)
{
  switch (way) {
    case WAY_RUN: return run_model(model);
    case WAY_BARE: run_bare(bare); return 0;
    case WAY_GSL_STEP: return run_gsl_step(bare);
    default: return run_gsl_driver(bare);
  }
}

static double now_s(void)
{
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Time of one run, the mean of a few. Negative: it failed. */
static double time_of(enum way way, const struct sb_model *model, struct bare *bare)
{
  const double start_s = now_s();
  for (int i = 0; i < RUNS_A_ROUND; i++) {
    if (go(way, model, bare) != 0) return -1.0;
  }
  return (now_s() - start_s) / RUNS_A_ROUND;
}

static double median(double *values, size_t count)
{
  gsl_sort(values, 1, count);
  return gsl_stats_median_from_sorted_data(values, 1, count);
}

/* The comparison is worth something only when the run does what is said above. */
static int check_run(const struct sb_model *model)
{
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {0};
  if (sb_run(model, &options, &result, &err) != SB_OK) return -1;
  const int is_as_said = result.step_count == STEP_COUNT && result.monitor.shift_count == 2 &&
                         sb_energy_residual_ratio(&result.sums.energy) < 1e-6;
  printf("run: %lld steps of %g s, %zu shifts, energy residual %.1e of what was given\n", result.step_count, step_s,
         result.monitor.shift_count, sb_energy_residual_ratio(&result.sums.energy));
  sb_run_result_clear(&result);
  return is_as_said ? 0 : -1;
}

static int bench_runs(const struct sb_model *model)
{
  struct bare bare = bare_of(model);
  static double times[WAY_COUNT][ROUND_COUNT], ratios[WAY_COUNT][ROUND_COUNT];
  for (int round = -2; round < ROUND_COUNT; round++) { /* the first two only warm up */
    double seconds[WAY_COUNT];
    for (int way = 0; way < WAY_COUNT; way++) {
      seconds[way] = time_of((enum way)way, model, &bare);
      if (!(seconds[way] > 0.0)) return -1;
    }
    for (int way = 0; round >= 0 && way < WAY_COUNT; way++) {
      times[way][round] = seconds[way];
      ratios[way][round] = seconds[WAY_RUN] / seconds[way];
    }
  }
  static const char *const names[WAY_COUNT] = {"run", "bare", "gsl step", "gsl driver"};
  double typical_s[WAY_COUNT];
  for (int way = 0; way < WAY_COUNT; way++) {
    typical_s[way] = median(times[way], ROUND_COUNT);
    printf("%-10s  %8.3f ms for %d steps, %6.1f ns a step\n", names[way], 1e3 * typical_s[way], STEP_COUNT,
           1e9 * typical_s[way] / STEP_COUNT);
  }
  printf("bench ns_per_step %.4g\n", 1e9 * typical_s[WAY_RUN] / STEP_COUNT);
  printf("bench simulated_s_per_s %.4g\n", STEP_COUNT * step_s / typical_s[WAY_RUN]);
  printf("bench run_over_bare %.4g\n", median(ratios[WAY_BARE], ROUND_COUNT));
  printf("bench run_over_gsl_step %.4g\n", median(ratios[WAY_GSL_STEP], ROUND_COUNT));
  printf("bench run_over_gsl_driver %.4g\n", median(ratios[WAY_GSL_DRIVER], ROUND_COUNT));
  return 0;
}

/* Maps --------------------------------------------------------------------------------------------------------------- */

/* Time of the map of the whole plane. Negative: it failed. *cell_count may be NULL. */
static double time_of_map(const struct sb_model *model, size_t *cell_count)
{
  const struct sb_map_options options = sb_map_options_default(model);
  struct sb_map map;
  struct sb_error err = {0};
  const double start_s = now_s();
  if (sb_map_exact(model, &options, true, &map, &err) != SB_OK) {
    fprintf(stderr, "bench: %s\n", err.text);
    return -1.0;
  }
  sink = (double)map.cell_count;
  if (cell_count != NULL) *cell_count = map.cell_count;
  sb_map_clear(&map);
  return now_s() - start_s;
}

static int bench_map(const struct sb_model *exact, const char *name, double resolution_fraction)
{
  struct sb_model model = *exact;
  struct bare bare = bare_of(&model);
  model.control.sensor.resolution_fraction = resolution_fraction;
  double times[MAP_ROUND_COUNT], ratios[MAP_ROUND_COUNT];
  size_t cell_count = 0;
  for (int round = -1; round < MAP_ROUND_COUNT; round++) {
    const double map_s = time_of_map(&model, &cell_count), bare_s = time_of(WAY_BARE, &model, &bare);
    if (!(map_s > 0.0 && bare_s > 0.0)) return -1;
    if (round < 0) continue;
    times[round] = map_s;
    ratios[round] = map_s / bare_s;
  }
  printf("map %-7s %8.3f ms for %zu rectangles\n", name, 1e3 * median(times, MAP_ROUND_COUNT), cell_count);
  printf("bench map_%s_over_bare %.4g\n", name, median(ratios, MAP_ROUND_COUNT));
  return 0;
}

static int bench_cycles(const struct sb_model *once)
{
  enum { CYCLE_POINT_COUNT = 6 };
  static const double time_s[CYCLE_POINT_COUNT] = {0.0, 2.0, 2.5, 6.0, 6.5, 10.0};
  static const double torque_nm[CYCLE_POINT_COUNT] = {0.1, 0.1, 0.8, 0.8, 0.1, 0.1};
  struct sb_model two = *once;
  struct sb_load_part *profile = &two.load.parts[two.load.part_count - 1];
  profile->table = (struct sb_table){CYCLE_POINT_COUNT, time_s, torque_nm};
  profile->is_repeating = true;
  struct sb_model four = two, twelve = two;
  struct bare bare = bare_of(once);
  four.run.duration_s = 40.0;
  twelve.run.duration_s = 120.0;
  double ratios[CYCLE_ROUND_COUNT];
  for (int round = -1; round < CYCLE_ROUND_COUNT; round++) {
    const double four_s = time_of_map(&four, NULL), twelve_s = time_of_map(&twelve, NULL);
    const double bare_s = time_of(WAY_BARE, once, &bare);
    if (!(four_s > 0.0 && twelve_s > 0.0 && bare_s > 0.0)) return -1;
    if (round >= 0) ratios[round] = (twelve_s - four_s) / 8.0 / bare_s;
  }
  printf("bench map_cycle_over_bare %.4g\n", median(ratios, CYCLE_ROUND_COUNT));
  return 0;
}

/* A shipped scenario, named without its folder. */
static int load_scenario(const char *name, struct sb_scenario *scenario)
{
  struct sb_faults faults = {0};
  char path[256];
  snprintf(path, sizeof path, "scenarios/%s.yaml", name);
  const enum sb_status status = sb_scenario_load(path, NULL, 0, scenario, &faults);
  sb_faults_clear(&faults);
  if (status == SB_OK) return 0;
  fprintf(stderr, "bench: %s cannot be read: call it from the repository's folder\n", path);
  return -1;
}

/* The plane of a machine with a swing arm for every load, on one thread. */
static int bench_any_load(const struct sb_model *plain)
{
  struct sb_scenario scenario;
  struct sb_any_load plane = {0};
  struct sb_error err;
  struct bare bare = bare_of(plain);
  if (load_scenario("stop-and-go", &scenario) != 0) return -1;
  struct sb_any_load_options options;
  if (sb_any_load_options_default(&scenario.model, &options, &err) != SB_OK) return -1;
  options.jobs = 1;
  const double bare_s = time_of(WAY_BARE, plain, &bare), begin_s = now_s();
  const enum sb_status status = sb_any_load_solve(&scenario.model, &options, &plane, &err);
  const double plane_s = now_s() - begin_s;
  if (status == SB_OK) sb_any_load_clear(&plane);
  sb_scenario_clear(&scenario);
  if (status != SB_OK) return -1;
  printf("bench map_any_load_over_bare %.4g\n", plane_s / bare_s);
  return 0;
}

/* A shipped scenario's map, once: those that take longest, but for the grindstone, which takes most of a minute. */
static int bench_scenario(const struct sb_model *plain, const char *name)
{
  struct sb_scenario scenario;
  struct bare bare = bare_of(plain);
  char figure[64];
  if (load_scenario(name, &scenario) != 0) return -1;
  const double bare_s = time_of(WAY_BARE, plain, &bare), map_s = time_of_map(&scenario.model, NULL);
  sb_scenario_clear(&scenario);
  if (!(map_s > 0.0 && bare_s > 0.0)) return -1;
  snprintf(figure, sizeof figure, "%s", name);
  for (char *c = figure; *c != 0; c++) *c = *c == '-' ? '_' : *c;
  printf("bench map_%s_over_bare %.4g\n", figure, map_s / bare_s);
  return 0;
}

static int bench_scenarios(const struct sb_model *plain)
{
  static const char *const names[] = {"dough-drum",  "hump-cart",    "seed-drill",        "shuttle-wagon",
                                      "stop-and-go", "tired-winder", "three-speed-feeder"};
  for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
    if (bench_scenario(plain, names[i]) != 0) return -1;
  }
  return 0;
}

/* Commands ------------------------------------------------------------------------------------------------------------- */

/* Runs a line of the shell in which $SHIFTBAND is the program and $T a folder. Its processor time, s, and peak memory, MB. */
static int spend(const char *line, double *cpu_s, double *peak_mb)
{
  int status = 0;
  struct rusage usage;
  fflush(stdout);
  const pid_t child = fork();
  if (child == 0) {
    execl("/bin/sh", "sh", "-c", line, (char *)NULL);
    _exit(127);
  }
  if (child < 0 || wait4(child, &status, 0, &usage) != child || status != 0) {
    fprintf(stderr, "bench: %s: failed\n", line);
    return -1;
  }
  *cpu_s = (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           1e-6 * (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec);
  *peak_mb = (double)usage.ru_maxrss / 1024.0;
  return 0;
}

/* What a command takes; a log for it is made first, at no cost. */
static const struct command {
  const char *name, *log, *line;
} commands[] = {
    {"map_grindstone", NULL, "$SHIFTBAND map -q scenarios/grindstone.yaml"},
    {"tune_stop_and_go", NULL, "$SHIFTBAND tune -q --jobs 1 scenarios/stop-and-go.yaml"},
    {"tune_seed_drill", NULL, "$SHIFTBAND tune -q --jobs 1 scenarios/seed-drill.yaml"},
    {"design_mat_roller", NULL, "$SHIFTBAND design -q --jobs 1 scenarios/mat-roller.yaml"},
    {"fit_shifts",
     "$SHIFTBAND run --set load.parts='[{kind: constant, manner: resists, torque: 0.37 N.m}]' --set run.duration='6 s' "
     "scenarios/hunting-crawler.yaml -o $T/log.csv",
     "$SHIFTBAND fit --scenario scenarios/hunting-crawler.yaml --set load.parts='[{kind: constant, manner: resists, "
     "torque: 0.37 N.m}]' $T/log.csv"},
    {"inspect_against", "$SHIFTBAND run --set load.bodies.1.mass='10 kg' scenarios/shuttle-wagon.yaml -o $T/log.csv",
     "$SHIFTBAND inspect $T/log.csv --against scenarios/shuttle-wagon.yaml"},
};

static int bench_command(const struct sb_model *plain, const struct command *command)
{
  struct bare bare = bare_of(plain);
  char line[1024];
  double cpu_s, peak_mb;
  snprintf(line, sizeof line, "{ %s; } > /dev/null", command->log != NULL ? command->log : ":");
  if (spend(line, &cpu_s, &peak_mb) != 0) return -1;
  const double bare_s = time_of(WAY_BARE, plain, &bare);
  snprintf(line, sizeof line, "%s > /dev/null", command->line);
  if (!(bare_s > 0.0) || spend(line, &cpu_s, &peak_mb) != 0) return -1;
  printf("bench %s_over_bare %.4g\n", command->name, cpu_s / bare_s);
  printf("bench %s_mb %.4g\n", command->name, peak_mb);
  return 0;
}

/* The program lies beside the bench. */
static int bench_commands(const struct sb_model *plain, const char *bench)
{
  char program[4096], folder[] = "/tmp/shiftband-bench-XXXXXX";
  const char *slash = strrchr(bench, '/');
  snprintf(program, sizeof program, "%.*s/shiftband", slash != NULL ? (int)(slash - bench) : 1,
           slash != NULL ? bench : ".");
  if (mkdtemp(folder) == NULL || setenv("SHIFTBAND", program, 1) != 0 || setenv("T", folder, 1) != 0) return -1;
  int code = 0;
  for (size_t i = 0; i < sizeof commands / sizeof *commands && code == 0; i++) {
    code = bench_command(plain, &commands[i]);
  }
  snprintf(program, sizeof program, "%s/log.csv", folder);
  remove(program);
  rmdir(folder);
  return code;
}

/* Extras --------------------------------------------------------------------------------------------------------------- */

static void add_winding(struct sb_model *model)
{
  model->winding = (struct sb_winding){.is_present = true,
                                       .ambient_c = 25.0,
                                       .start_c = 25.0,
                                       .reference_c = 25.0,
                                       .capacity_j_k = 18.0,
                                       .resistance_k_w = 5.0,
                                       .cut_out_c = INFINITY,
                                       .reset_c = INFINITY};
  model->drive.period_s = 5e-3;
}

static void add_wheels(struct sb_model *model)
{
  model->load.road = (struct sb_road){.is_present = true,
                                      .can_slip = true,
                                      .inertia_kg_m2 = 0.75 * model->load.inertia_kg_m2,
                                      .static_friction_ratio = 0.8,
                                      .kinetic_friction_ratio = 0.7,
                                      .weight_nm = 5.0,
                                      .press_nm = 5.0,
                                      .wheel_radius_m = 0.05,
                                      .driven_share = 1.0,
                                      .gravity_m_s2 = 9.80665,
                                      .finish_rad = INFINITY};
}

static void add_shaft(struct sb_model *model)
{
  model->driveshaft = (struct sb_driveshaft){
      .is_present = true, .stiffness_nm_rad = 20.0, .damping_nms_rad = 0.02, .backlash_rad = 0.01};
}

static int bench_extra(const struct sb_model *plain, const char *name, void (*add)(struct sb_model *model))
{
  struct sb_model model = *plain;
  struct bare bare = bare_of(plain);
  double ratios[EXTRA_ROUND_COUNT];
  add(&model);
  for (int round = -1; round < EXTRA_ROUND_COUNT; round++) {
    const double bare_s = time_of(WAY_BARE, plain, &bare), extra_s = time_of(WAY_RUN, &model, &bare);
    if (!(bare_s > 0.0 && extra_s > 0.0)) return -1;
    if (round >= 0) ratios[round] = extra_s / bare_s;
  }
  printf("bench run_with_%s_over_bare %.4g\n", name, median(ratios, EXTRA_ROUND_COUNT));
  return 0;
}

static int bench_extras(const struct sb_model *plain)
{
  return bench_extra(plain, "winding", add_winding) == 0 && bench_extra(plain, "wheels", add_wheels) == 0 &&
                 bench_extra(plain, "shaft", add_shaft) == 0
             ? 0
             : -1;
}

/* One task of the study: the map of a motor up to 10 % off. */
static enum sb_status map_one(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  const struct sb_model *nominal = context;
  struct sb_model model = *nominal;
  model.motor.stall_torque_nm *= 0.9 + 0.2 * (double)index / MACHINE_COUNT;
  enum sb_status status = sb_motor_derive(&model.motor, err);
  const struct sb_map_options options = sb_map_options_default(&model);
  struct sb_map map;
  if (status == SB_OK) status = sb_map_exact(&model, &options, true, &map, err);
  if (status != SB_OK) return status;
  sb_lines_add(out, "%zu\n", map.cell_count);
  sb_map_clear(&map);
  return SB_OK;
}

/* Time of the study with so many threads. Negative: it failed. */
static double time_of_study(struct sb_model *model, int jobs)
{
  const struct sb_tasks study = {
      .identity = 1, .about = "bench", .task_count = MACHINE_COUNT, .run_task = map_one, .context = model};
  struct sb_tasks_options options = sb_tasks_options_default();
  struct sb_tasks_result result;
  struct sb_error err = {0};
  options.jobs = jobs;
  const double start_s = now_s();
  if (sb_tasks_run(&study, &options, &result, &err) != SB_OK) {
    fprintf(stderr, "bench: %s\n", err.text);
    return -1.0;
  }
  sb_tasks_result_clear(&result);
  return now_s() - start_s;
}

static int bench_threads(const struct sb_model *exact)
{
  struct sb_model model = *exact;
  model.control.sensor.resolution_fraction = 0.01;
  double ratios[THREAD_ROUND_COUNT];
  for (int round = -1; round < THREAD_ROUND_COUNT; round++) {
    const double one_s = time_of_study(&model, 1), two_s = time_of_study(&model, 2);
    if (!(one_s > 0.0 && two_s > 0.0)) return -1;
    if (round >= 0) ratios[round] = one_s / two_s;
  }
  printf("bench two_threads_speedup %.4g\n", median(ratios, THREAD_ROUND_COUNT));
  return 0;
}

int main(int count, char **words)
{
  static struct sb_model model;
  gsl_set_error_handler_off();
  if (make_model(&model) != 0 || check_run(&model) != 0) {
    fputs("bench: the run is not the one that was meant\n", stderr);
    return 1;
  }
  /* Commands before maps: a process starts with the memory that this one has. */
  const char *bench = count > 0 ? words[0] : "build/bench";
  if (bench_runs(&model) != 0 || bench_commands(&model, bench) != 0 || bench_map(&model, "exact", 0.0) != 0 ||
      bench_map(&model, "rounded", 0.01) != 0 || bench_cycles(&model) != 0 || bench_scenarios(&model) != 0 ||
      bench_any_load(&model) != 0 || bench_extras(&model) != 0 || bench_threads(&model) != 0) {
    fputs("bench: something measured failed\n", stderr);
    return 1;
  }
  return 0;
}
