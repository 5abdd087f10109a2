// SPDX-License-Identifier: GPL-3.0-or-later
/* Arrays that grow keep their items, and refuse what no memory can hold. */
#include <stdint.h>
#include <stdlib.h>

#include "base/arena.h"
#include "help/near.h"

static void items_stay_while_the_array_grows(void **state)
{
  (void)state;
  long *items = NULL;
  size_t room = 0;
  for (size_t k = 0; k < 1000; k++) {
    assert_true(sb_grow(&items, &room, k, sizeof *items));
    assert_true(room > k);
    items[k] = (long)k;
  }
  for (size_t k = 0; k < 1000; k++) assert_int_equal(items[k], k);
  assert_true(room <= 2000);
  free(items);
}

static void a_size_that_overflows_is_refused_and_nothing_changes(void **state)
{
  (void)state;
  char *items = malloc(1);
  assert_non_null(items);
  items[0] = 'x';
  size_t room = SIZE_MAX / 8;
  assert_false(sb_grow(&items, &room, room, 16));
  assert_true(room == SIZE_MAX / 8);
  assert_int_equal(items[0], 'x');
  assert_true(sb_grow(&items, &room, room - 1, 16)); /* there is room: nothing to do */
  free(items);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(items_stay_while_the_array_grows),
      cmocka_unit_test(a_size_that_overflows_is_refused_and_nothing_changes),
  };
  return cmocka_run_group_tests_name("grow", tests, NULL, NULL);
}
