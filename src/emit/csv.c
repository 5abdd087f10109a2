// SPDX-License-Identifier: GPL-3.0-or-later
/* csv.c - the recorded samples of an emission as CSV. */
#include "shiftband/emit.h"
#include "text/csv_writer.h"

int sb_emit_write_readings(FILE *out, const struct sb_emission *emission)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_emit_rows);
  const bool is_scaled = emission->scale.factor > 0;
  sb_csv_line(&csv, is_scaled ? "sample,counts,voltage_counts,reading,engaged,gear" : "sample,reading,engaged,gear");
  for (size_t i = 0; i < emission->sample_count; i++) {
    const struct sb_emit_sample *sample = &emission->samples[i];
    sb_csv_integer(&csv, (long long)i);
    if (is_scaled) {
      sb_csv_integer(&csv, sample->counts);
      sb_csv_integer(&csv, sample->voltage);
    }
    sb_csv_integer(&csv, sample->reading);
    sb_csv_integer(&csv, sample->is_deciding);
    sb_csv_integer(&csv, sample->gear);
    sb_csv_end_row(&csv);
  }
  return sb_csv_result(&csv);
}
