// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * sim.h - one machine moving in time, exact to rounding between located events.
 *
 *   engaged    (Jm + Jo / (N^2 e)) dw/dt = T - Tdrag - TL / (N e)
 *   neutral    Jm dw/dt = T,  Jo dW/dt = -TL
 *   slipping   Jm dw/dt = T - s Tcl,  Jo dW/dt = N e (s Tcl - Tdrag) - TL,  s the sign of w - N W: a clutch, until the speeds
 *              meet after a command, and again whenever engaged motion would ask more than Tcl of it
 *   engaging   w+ = (Jm w- + (Jo / N) W-) / (Jm + Jo / N^2),  lost 1/2 Jr (w- - N W-)^2
 *
 * Driving (e = eta) or overrun (e = 1 / eta_back) is the sign of (T - Tdrag) Jo / N + Jm TL along the motion, which is that
 * of the power at the output. A path with eta_back < 0 locks itself: in overrun the motor must turn with |eta_back| of what
 * the output brings. Where Jm + Jo eta_back / N^2 is not positive it jams as soon as the output would drive: motor and
 * output stop at once, and start again when the motor's torque is above |eta_back| TL / N. The motion
 * is a Taylor series whose order and length adapt until nothing but rounding is left out (src/sim/motion.h), or one
 * exponential where it is (src/sim/plain.h). Load corners, shift commands, engagements, stops, starts and changes between
 * driving and overrun happen exactly at their instants: those not known beforehand are roots of polynomials on the series,
 * so none is missed (src/sim/series.h). At standstill, torque below the hold keeps it: a mode, not a small speed.
 *
 * The step is the grid of traces, samples and ticks alone. States follow from tick to tick, or from block to block of samples,
 * whoever asks for others between, so a trace changes no bit of a run.
 *
 * A vehicle's wheels can slip and bodies stand in its way (road.h); the output shaft can give (driveshaft.h); what feeds
 * the motor (drive.h, battery.h, winding.h, magnet.h) changes at ticks and is held between them.
 *
 * The simulator knows no thresholds: whoever calls it reads the speed and commands gears.
 *
 * The direction of a speed: the motor's is positive when it turns forward, the output's when it turns as gear 1 drives it.
 * Source: A. Jorba, M. Zou, Experimental Mathematics 14(1), 2005 (Taylor series); joining of two inertias: R. S. Khurmi,
 * J. K. Gupta, Theory of Machines, chapter 3.
 */
#ifndef SHIFTBAND_SIM_H
#define SHIFTBAND_SIM_H

#include <math.h>
#include <stdbool.h>

#include "shiftband/model.h"
#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum sb_link {
  SB_LINK_MESH, /* one gear engaged: motor and output turn together */
  SB_LINK_OPEN, /* neutral */
  SB_LINK_SLIP  /* a clutch joins them, slipping: during a shift, or while a gear is engaged */
};

/* A vehicle beside its wheels, and the bodies in its way; in the output's terms (road.h). Zero without a road. */
struct sb_far {
  double speed_rad_s;    /* while the wheels slip; else 0 */
  double angle_rad;      /* while the wheels slip; else 0 */
  double load_angle_rad; /* the vehicle's angle when the segment began */
  double left_rad;       /* where the bodies met so far stand, when they are not pushed; else INFINITY */
  int met_count;         /* bodies met so far, pushed or left */
  int direction;         /* while the wheels slip: -1, 0, +1 */
  int is_slipping;
  int slip_direction; /* sign of the wheels' lead over the vehicle, +1: the wheels push it forward */
  int is_finished;    /* the end of the road was reached: nothing moves any more */
};

/* An elastic output shaft while a gear is engaged (driveshaft.h). Zero when rigid or in neutral. */
struct sb_twist {
  double twist_rad;
  int side; /* of the teeth that touch: +1 driving forward, -1, 0: in the gap; without backlash always +1 */
};

/* What feeds the motor, moved at ticks. Constant for a model without any. Voltage, resistance and the magnets' strength are held
 * from tick to tick at what they will be in the middle between the two, to second order in the period. */
struct sb_feed {
  struct sb_drive_state drive;
  struct sb_warmth warmth;
  double resistance_ohm; /* of the winding */
  double magnet_ratio;   /* kt and ke over the motor's own; 1 without a magnet */
  double voltage_v;      /* open circuit */
  double drawn_as;       /* charge drawn from a battery since the start, A s */
  double loss_j;         /* winding loss since the last tick */
  long long low_ticks;   /* ticks in a row that found the battery below its cut-off */
  long long ready_step;  /* from which on the controller decides again after a stop */
  long long piece;       /* of the motor's line under a limit of the current (limiter.h) */
  int is_cut_out;        /* the thermal switch is open */
  int is_empty;          /* the battery's cut-off has opened; it stays so */
};

/* What a sensor of pulses has seen (sensor.h); zero without one. Counts are pulses, of the worst phase the motor's turn in pulses. */
struct sb_pulses {
  double angle;  /* 0..1: of the motor beyond a mark, forward, in pulses */
  double count;  /* since the window was opened for the last sample */
  double closed; /* between the openings for the last sample and the one before */
  double last_s,
      period_s; /* between pulses: when the last one came, -INFINITY: none did; how long after the one before */
  long long opened_sample; /* for which the window has been opened */
};

/*
 * All that moves and acts on the future; copyable, and equal bits mean an equal future. Speeds of the motor are in the
 * direction in which its gear drives it. What belongs to a shift under way is zero while a gear is engaged.
 */
struct sb_state {
  long long step;           /* whole steps done */
  double time_s;            /* step * step_s, or between two steps inside sb_sim_advance() */
  double load_time_s;       /* the last load corner passed: where the present piece of the load began */
  double load_angle_rad;    /* the output's angle when the segment began */
  double motor_speed_rad_s; /* engaged: N times the output's */
  double output_speed_rad_s;
  double output_angle_rad;
  double turned_rad;         /* motor's angle since its reversal or since the command, in neutral */
  struct sb_shift_plan plan; /* of the shift under way */
  int gear;                  /* index from 0: engaged, or to be engaged */
  enum sb_link link;
  int motor_direction; /* -1, 0 (at rest), +1 */
  int output_direction;
  int slip_direction; /* sign of the motor's lead over the output in a slipping clutch */
  int is_shifting;    /* from a command until the gear is engaged; with a clutch until its sides first meet */
  int is_driving;     /* power runs from motor to output */
  int is_turned;      /* neutral only: the motor has reversed, turned_rad counts */
  /* How far the output, or a vehicle whose wheels slip, has turned back from the farthest place that it reached in the
   * direction in which the drive turns it, or last did; since it first moved that way or stood. */
  double back_rad, back_since_s;
  int drive_direction; /* of the output: that direction */
  int is_back_counted; /* it has moved that way, or stood, since the drive took this direction */
  struct sb_far far;
  struct sb_twist twist;
  struct sb_feed feed;
  struct sb_pulses pulses;
};

/* The greatest of a quantity, by magnitude, and when. */
struct sb_peak {
  double value;
  double time_s;
};

/* A torque above its limit lasts when, in one go, it is there for longer than this or brings more than the limit would in this
 * time, so that its mean over this time is above the limit whatever there is besides; else it is a crest. */
#define SB_OVERLOAD_LASTS_S 0.1

/* Times with the output torque above its limit. */
struct sb_over_limit {
  long count;
  double first_s, last_s, total_s; /* of the first one, of the last one; all */
  double greatest_nm, impulse_nms; /* by magnitude; all that came together */
};

/*
 * Where the energy went, line by line, in J:
 *
 *   given = supply loss + winding loss + conversion loss + motor friction + drag + mesh loss + shift loss + clutch slip
 *           + wheel slip + impacts + shaft damping + load work + change of kinetic and of the shaft's energy + residual
 *
 * The integrals are those of the motion's own series; the mesh loss is calculated from the motor's side
 * when driving and from the output's side in overrun, the load work from the load, so that the residual measures how
 * well motion and energies agree. Without currents the balance starts at the motor shaft: given is the shaft's work.
 */
/* The lines in order: X(field, name in reports). */
#define SB_ENERGY_LINES(X)              \
  X(supply_loss, "supply loss")         \
  X(winding_loss, "winding loss")       \
  X(conversion_loss, "conversion loss") \
  X(motor_friction, "motor friction")   \
  X(drag, "drag")                       \
  X(mesh_loss, "mesh loss")             \
  X(shift_loss, "shift loss")           \
  X(clutch_loss, "clutch slip")         \
  X(slip_loss, "wheel slip")            \
  X(impact_loss, "impacts")             \
  X(shaft_loss, "shaft damping")        \
  X(load_work, "load work")             \
  X(kinetic, "kinetic")                 \
  X(elastic, "shaft twist")

struct sb_energy {
  double given;      /* from the battery (with currents) or at the motor shaft (without) */
  double throughput; /* sum of |given| over all segments: the scale of the residual, for it never cancels */
#define SB_ENERGY_FIELD(field, name) double field;
  SB_ENERGY_LINES(SB_ENERGY_FIELD)
#undef SB_ENERGY_FIELD
};

/* given minus the sum of all lines, J. Pure. */
double sb_energy_residual_j(const struct sb_energy *energy);

/* |residual| over the throughput, or over the greatest line where nothing was given; 0 when nothing happened. Pure. */
double sb_energy_residual_ratio(const struct sb_energy *energy);

/* What adds up beside the motion and acts on nothing. */
struct sb_sums {
  struct sb_energy energy;
  struct sb_peak output_torque_nm;
  struct sb_peak motor_current_a;
  struct sb_peak motor_speed_rad_s; /* signed by the motor's own direction */
  struct sb_peak output_speed_rad_s;
  double least_output_speed_rad_s;
  double greatest_output_speed_rad_s;
  double over_limit_s;           /* time with the output torque above limits.output_torque_nm */
  double over_limit_first_s;     /* when it first was; NAN: never */
  double over_limit_last_s;      /* when it last was */
  struct sb_over_limit over_now; /* the present or last spell of it, not yet among those below */
  struct sb_over_limit over_lasting, over_crests;
  double joined_s, struck_s;               /* the last engagement, and the last impact of a vehicle; -INFINITY: none */
  double torque_joined_s, torque_struck_s; /* those before output_torque_nm */
  double gear_time_s[SB_GEAR_MAX];         /* engaged */
  double neutral_time_s;
  double standstill_time_s;      /* engaged, output at rest */
  double current_held_s;         /* time with the motor's current held at the driver's limit */
  double start_kinetic_j;        /* kinetic energy at t = 0 */
  double greatest_impulse_nms;   /* of engagements, at the output, by magnitude */
  double clutch_heat_j;          /* of a slipping clutch, during shifts and while engaged */
  double slip_s;                 /* time with wheels slipping */
  double slip_first_s;           /* when they first did; NAN: never */
  double slip_last_s;            /* when they last did */
  struct sb_road_need slip_need; /* the greatest that wheels slipped against; zero: they moved the vehicle */
  struct sb_peak winding_c;      /* greatest temperature; -INFINITY without a winding */
  struct sb_peak housing_c;      /* likewise, of a winding's housing */
  double hot_s;                  /* time with the winding above limits.winding_c */
  double hot_first_s;            /* when it first was; NAN: never */
  double hot_last_s;
  double cut_s;       /* time with the drive cut by a switch of its own: heat or an empty battery */
  double cut_first_s; /* when it first was; NAN: never */
  double cut_last_s;
  long cut_count;
  double way_rad;                          /* that the output, or a vehicle whose wheels slip, has turned, to and fro */
  struct sb_peak back;                     /* greatest back_rad of the state: when it was reached */
  double back_since_s;                     /* and when it began */
  int was_cut_by_heat, was_cut_by_battery; /* no bool: sums are compared by their bytes, which have no gaps */
  double impact_greatest_nms;              /* of bodies met, at the output */
  long impact_count;
  long jam_count;          /* of paths that lock themselves */
  double jam_first_s;      /* when the first one came; NAN: none */
  double jam_greatest_nms; /* greatest angular impulse that stopped the output */
};

/* Takes the spell that is under way, or was the last, into those that last or the crests. */
void sb_energy_close_over_limit(struct sb_sums *sums, double limit_nm);

/* Sums of which nothing has come together yet. Pure. */
struct sb_sums sb_sim_sums_empty(void);

enum sb_event {
  SB_EVENT_COMMAND,
  SB_EVENT_ENGAGED,
  SB_EVENT_STOPPED,
  SB_EVENT_STARTED,
  SB_EVENT_SLIPPED,        /* wheels begin to slip */
  SB_EVENT_GRIPPED,        /* they grip again */
  SB_EVENT_MET,            /* a body in the way was met */
  SB_EVENT_SWITCHED,       /* the drive was cut or came back */
  SB_EVENT_CLUTCH_SLIPPED, /* the clutch of an engaged gear begins to slip */
  SB_EVENT_CLUTCH_HELD,    /* it holds again */
  SB_EVENT_FINISHED        /* the end of the road */
};

struct sb_sim;

/* Told after an event has taken effect; before_engaging is told with the state just before a joining. */
struct sb_sim_observer {
  void *context;
  void (*on_event)(void *context, const struct sb_sim *sim, enum sb_event event);
  void (*before_engaging)(void *context, const struct sb_sim *sim);
};

/* What holds between two events; src/sim/segment.h. */
struct sb_segment;

/* The motion that is under way; src/sim/stretch.h. */
struct sb_stretch;

/* Stretches of motion end with blocks of so many samples, wherever what feeds the motor stays as it is: states in between are
 * values of them. */
enum { SB_SIM_BLOCK = 16 };

/* Every so many steps; and the last such step that was passed. */
struct sb_sim_multiple {
  long long of, last;
};

struct sb_sim {
  const struct sb_model *model;
  double step_s;                  /* the model's step */
  double steps_per_s;             /* steps in a second when that is a whole number, else 0 */
  struct sb_derived derived;      /* of the model */
  struct sb_sim_multiple blocks;  /* of SB_SIM_BLOCK samples */
  struct sb_sim_multiple samples; /* of the controller */
  double samples_per_s;
  struct sb_sim_multiple ticks; /* of what feeds the motor; of = 0: it never changes */
  double tick_s, ticks_per_s;
  struct sb_winding_lapse tick_lapse; /* of a winding, from tick to tick */
  double pulses_per_rad;              /* of the motor; 0: no sensor of pulses */
  double window_rest_s;               /* a window is opened so long before a sample */
  /* Of the sums nobody asks for more than the energy given, the greatest torque and motor speed, ways and verdicts: only these are
   * brought up to date. */
  bool has_few_sums;
  double torque_asked_nm; /* nobody asks for a greatest torque below it: such ones may be missing */
  struct sb_state state;
  struct sb_sums sums;
  struct sb_sim_observer observer; /* callbacks may be NULL */
  struct sb_segment *segment;      /* owned scratch */
  struct sb_stretch *stretch;      /* owned scratch */
  void *root_solver;               /* owned scratch */
};

/* Engages a gear (index from 0) at t = 0 with the run's initial output speed. */
enum sb_status sb_sim_init(struct sb_sim *sim, const struct sb_model *model, int gear, struct sb_error *err);

void sb_sim_clear(struct sb_sim *sim);

/*
 * Begins again at a time: a gear (index from 0) is just engaging between a motor and an output of these speeds, the motor's in the
 * direction in which the gear drives it. They join as at the end of a shift, a clutch by slipping. All that came together
 * before is forgotten.
 */
struct sb_sim_place {
  int gear;
  double motor_speed_rad_s, output_speed_rad_s, time_s;
};
void sb_sim_begin_at(struct sb_sim *sim, const struct sb_sim_place *place);

/*
 * Moves on to whole model step `step` (t = step * model step). SB_ERR_NUMERICS when events pile up without end or a
 * value is no longer finite.
 */
enum sb_status sb_sim_advance(struct sb_sim *sim, long long step, struct sb_error *err);

/* Time of a whole step, s: counted, so that it never drifts, and divided where that gives the nearest double. Pure. */
double sb_sim_grid_s(const struct sb_sim *sim, long long step);

/* Commands a shift to another gear (index from 0) now; ignored in the gear that is engaged or being engaged. */
void sb_sim_command(struct sb_sim *sim, int gear);

/* Whoever holds the model has changed the torques of its load's constant parts: they hold from this instant on. */
void sb_sim_take_load(struct sb_sim *sim);

/* Puts a state back that this simulation, or another of the same model, was in after sb_sim_sums(), which brings what comes
 * together in it up to date; the sums stay. It goes on to the same bits where a stretch ended there: with a block of samples, at a
 * tick, or with the command that follows. */
void sb_sim_restore(struct sb_sim *sim, const struct sb_state *state);

/* A simulation as it stands: who looks at sums on the way, which brings them up to date, takes it back afterwards, and it goes on as
 * if nobody had looked. NULL: there is no memory; released by free(). */
struct sb_sim_kept;
struct sb_sim_kept *sb_sim_kept_new(void);
void sb_sim_keep(const struct sb_sim *sim, struct sb_sim_kept *kept);
void sb_sim_take_back(struct sb_sim *sim, const struct sb_sim_kept *kept);

/* At a sample: opens the window of a sensor of pulses for it, unless that was done on the way. */
void sb_sim_open_window(struct sb_sim *sim);

/* Whether a gear is engaged; one whose clutch slips after its sides met is. */
bool sb_sim_is_engaged(const struct sb_sim *sim);

/* Whether a controller is to decide: engaged, the drive on, and after a stop of the drive on for the start delay. */
bool sb_sim_is_deciding(const struct sb_sim *sim);

enum sb_phase { SB_PHASE_ENGAGED, SB_PHASE_SHIFT, SB_PHASE_STANDSTILL };

/* The state as people see it, at one instant. */
struct sb_row {
  double time_s;
  int gear; /* from 1; 0 in neutral */
  enum sb_phase phase;
  double duty_fraction;  /* duty with the motor's direction, -1..1; that is given, whatever was asked for */
  double asked_fraction; /* that the drive asks for: more in size where the current is held */
  /* No bool: rows are compared by their bytes, which have no gaps. */
  int is_on;              /* no stop is ordered and no switch has opened */
  int is_slipping;        /* wheels slip */
  int is_clutch_slipping; /* the clutch of an engaged gear slips */
  int is_current_held;    /* the driver holds the motor's current at its limit */
  double motor_speed_rad_s;
  /* Of the last sample, filled by the caller: % of the reference; pulses in the window; the time that the last pulse took; the voltage
   * that the reference follows. NAN: there is no such thing. */
  double reading_pct, pulse_count, pulse_time_s, measured_voltage_v;
  double output_speed_rad_s;
  double output_torque_nm;   /* what the gear delivers; at rest what it holds against the load */
  double load_torque_nm;     /* what opposes */
  double external_torque_nm; /* the load without what follows speed, at sliding values, against the gear's direction */
  /* The outside torque that would bring this gear, and the next faster one, to the same speed with the supply and winding
   * that closed forms are calculated with: so tired batteries and hot windings are judged by what they still give. For a
   * load that helps in a path that locks itself, one that opposes and takes as much of the motor. */
  double own_load_nm, next_load_nm;
  double motor_current_a;  /* NAN without currents */
  double supply_voltage_v; /* NAN without currents */
  double
      clutch_nm; /* that it transmits, at the motor's shaft; while it slips, what joined motion at the gears' speed would
                       ask of it; NAN: there is no clutch, or neutral */
  double clutch_w; /* heat in a slipping clutch, of a shift's too; NAN: there is no clutch */
  double output_turns;
  double vehicle_speed_rad_s; /* where wheels can slip: of the vehicle, over the wheel's radius; else the output's */
  double vehicle_angle_rad;   /* likewise, its distance over the wheel's radius */
  double twist_rad;           /* of a shaft that gives, else 0 */
  double charge_fraction;     /* of the battery; NAN without one */
  double winding_c;           /* NAN without a winding */
  double magnet_c;            /* NAN without a magnet that weakens */
  double housing_c;
};

struct sb_row sb_sim_row(const struct sb_sim *sim);

/* The same for who only decides: of it the time, gear and phase, the flags, duties, the motor's speed and current, the supply's voltage,
 * and the loads that closed forms compare with; the rest is 0. */
struct sb_row sb_sim_glance(const struct sb_sim *sim);

/*
 * What a controller and closed forms see at the samples that lie before the end of the stretch of motion that goes on, or begins now:
 * nothing happens at them, and all but this stays as it is. To the bits of sb_sim_glance(), without moving there. Only while a gear
 * turns motor and output as one; none: count is 0. Loads that nobody asks for are not there.
 */
struct sb_sim_ahead {
  int count;
  double motor_speed_rad_s[SB_SIM_BLOCK], own_load_nm[SB_SIM_BLOCK], next_load_nm[SB_SIM_BLOCK];
};
void sb_sim_look_ahead(struct sb_sim *sim, bool are_loads_asked, struct sb_sim_ahead *ahead);

/* How many samples it would show, and between which speeds the motor turns until then: bounds, which cost far less. */
struct sb_sim_outlook {
  int count;
  double least_rad_s, greatest_rad_s; /* of the motor in its direction; count is 0: 0 */
};
struct sb_sim_outlook sb_sim_look_out(struct sb_sim *sim);

/* Whether the output stands in an engaged gear although the drive is on and does all that it ever will: a ramp or an integral that
 * still raises the duty may yet move it. Pure. */
static inline bool sb_row_is_stalled(const struct sb_row *row, const struct sb_drive *drive)
{
  return row->phase == SB_PHASE_STANDSTILL && row->is_on &&
         fabs(row->asked_fraction) >= sb_drive_final_duty(drive) * (1.0 - 1e-9);
}

/* The load for those who ask whether the next faster gear would hold it: INFINITY, none does, with the drive off. Pure. */
static inline double sb_row_next_load_nm(const struct sb_row *row)
{
  return row->is_on ? row->next_load_nm : (double)INFINITY;
}

/* Brings the sums up to the present instant, kinetic energy included, and returns them. */
const struct sb_sums *sb_sim_sums(struct sb_sim *sim);

#ifdef __cplusplus
}
#endif

#endif
