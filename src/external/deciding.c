// SPDX-License-Identifier: GPL-3.0-or-later
#include "external/deciding.h"

#include "shiftband/controller.h"

/* Adds who and when to what a decider says is wrong. */
static enum sb_status name_fault(const struct sb_deciding *deciding, enum sb_status status,
                                 const struct sb_error *fault, struct sb_error *err)
{
  const struct sb_own_input *input = &deciding->input;
  if (status != SB_ERR_CONTROLLER) return sb_fail(err, status, "%s", fault->text);
  if (input->sample < 0) return sb_fail(err, status, "controller %s %s", deciding->decider->name, fault->text);
  return sb_fail(err, status, "controller %s, sample %lld at %.6g s: %s", deciding->decider->name,
                 (long long)input->sample, input->time_s, fault->text);
}

static struct sb_own_input input_of(const struct sb_model *model, const struct sb_controller_setup *setup)
{
  const struct sb_control *control = &model->control;
  struct sb_own_input input = {.version = SB_OWN_VERSION,
                               .size = sizeof input,
                               .sample = -1,
                               .gear = control->start_gear,
                               .gear_count = setup->gear_count,
                               .start_gear = control->start_gear,
                               .sample_period_s = control->sample_period_s,
                               .count_pct = 100.0 * sb_sensor_count_fraction(&control->sensor),
                               .dwell_samples = setup->dwell_samples,
                               .start_delay_samples = setup->start_delay_samples,
                               .debounce_samples = setup->debounce_samples};
  for (int p = 0; p + 1 < setup->gear_count; p++) {
    input.downshift_below[p] = setup->downshift_below[p];
    input.upshift_above[p] = setup->upshift_above[p];
    input.downshift_below_pct[p] = 100.0 * control->downshift_fraction[p];
    input.upshift_above_pct[p] = 100.0 * control->upshift_fraction[p];
  }
  return input;
}

enum sb_status sb_deciding_begin(struct sb_deciding *deciding, const struct sb_decider *decider,
                                 const struct sb_model *model, const struct sb_controller_setup *setup,
                                 struct sb_error *err)
{
  struct sb_error fault = {SB_OK, ""};
  *deciding = (struct sb_deciding){.decider = decider, .input = input_of(model, setup)};
  const enum sb_status status =
      decider->begin != NULL ? decider->begin(decider->context, &deciding->input, &deciding->run, &fault) : SB_OK;
  if (status != SB_OK) return name_fault(deciding, status, &fault, err);
  if (decider->begin == NULL) deciding->run = decider->context;
  deciding->is_begun = true;
  return SB_OK;
}

/* What a box can be told: a gear that it has, and no gear jumped over. */
static enum sb_status check(int gear, const struct sb_own_input *input, struct sb_error *fault)
{
  const int count = (int)input->gear_count, before = (int)input->gear;
  if (gear < 1 || gear > count) {
    return sb_fail(fault, SB_ERR_CONTROLLER, "answered gear %d; gears count from 1 to %d", gear, count);
  }
  if (gear > before + 1 || gear < before - 1) {
    return sb_fail(fault, SB_ERR_CONTROLLER, "answered gear %d while in gear %d; a shift must not skip a gear", gear,
                   before);
  }
  return SB_OK;
}

enum sb_status sb_deciding_ask(struct sb_deciding *deciding, const struct sb_sim *sim, const struct sb_row *row,
                               int32_t reading, int *gear, struct sb_error *err)
{
  struct sb_error fault = {SB_OK, ""};
  struct sb_own_input *input = &deciding->input;
  int wanted = 0;
  input->sample++;
  input->time_s = row->time_s;
  input->reading = reading;
  input->reading_pct = row->reading_pct;
  input->is_engaged = sb_sim_is_engaged(sim);
  input->is_deciding = sb_sim_is_deciding(sim);
  enum sb_status status = deciding->decider->decide(deciding->run, input, &wanted, &fault);
  if (status == SB_OK) status = check(wanted, input, &fault);
  if (status != SB_OK) return name_fault(deciding, status, &fault, err);
  input->gear = wanted;
  *gear = wanted;
  return SB_OK;
}

enum sb_status sb_deciding_end(struct sb_deciding *deciding, enum sb_status status, struct sb_error *err)
{
  struct sb_error fault = {SB_OK, ""};
  if (!deciding->is_begun) return status;
  deciding->is_begun = false;
  if (deciding->decider->end == NULL) return status;
  const enum sb_status ended = deciding->decider->end(deciding->run, status == SB_OK, &fault);
  return status == SB_OK && ended != SB_OK ? name_fault(deciding, ended, &fault, err) : status;
}
