# The statistics against R and SciPy; each skipped where it is not installed.
add_executable(stats_print ${CMAKE_CURRENT_LIST_DIR}/stats_print.c
  ${CMAKE_CURRENT_LIST_DIR}/../stats/cusum_counts.c)
target_link_libraries(stats_print PRIVATE oddloaf_stats)
add_test(NAME reference/stats_r
  COMMAND sh ${CMAKE_CURRENT_LIST_DIR}/stats_r.sh $<TARGET_FILE:stats_print>)
find_program(SYSTEM_PYTHON NAMES python3 PATHS /usr/bin NO_DEFAULT_PATH)
if(SYSTEM_PYTHON)
  add_test(NAME reference/stats_scipy
    COMMAND ${SYSTEM_PYTHON} ${CMAKE_CURRENT_LIST_DIR}/stats_scipy.py $<TARGET_FILE:stats_print>)
  set_tests_properties(reference/stats_scipy PROPERTIES SKIP_RETURN_CODE 77 TIMEOUT 600 LABELS slow)
endif()
set_tests_properties(reference/stats_r PROPERTIES SKIP_RETURN_CODE 77 TIMEOUT 600 LABELS slow)
