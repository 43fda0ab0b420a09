# The models' quantities against SciPy's; skipped where SciPy is not installed.
add_executable(models_print ${CMAKE_CURRENT_LIST_DIR}/models_print.c)
target_link_libraries(models_print PRIVATE oddloaf_models)
find_program(SYSTEM_PYTHON NAMES python3 PATHS /usr/bin NO_DEFAULT_PATH)
if(SYSTEM_PYTHON)
  add_test(NAME reference/models
    COMMAND ${SYSTEM_PYTHON} ${CMAKE_CURRENT_LIST_DIR}/models_scipy.py
      $<TARGET_FILE:models_print> ${CMAKE_SOURCE_DIR}/rules/models.json)
  set_tests_properties(reference/models PROPERTIES SKIP_RETURN_CODE 77 TIMEOUT 300
    LABELS once COST 25)
endif()
