# How everything is compiled. Floating-point contraction is off everywhere, so that every
# instruction set and both compilers' vector paths give the same bytes.
option(PACKSPAN_TESTS "build the tests" ON)
option(PACKSPAN_SANITIZE "AddressSanitizer and UndefinedBehaviorSanitizer" OFF)
option(PACKSPAN_ONE_SET "only the instruction set of the compiler's flags, to test one alone" OFF)

if(NOT CMAKE_BUILD_TYPE)
    set(CMAKE_BUILD_TYPE Release)
endif()
set(CMAKE_C_STANDARD 17)
set(CMAKE_C_STANDARD_REQUIRED ON)
set(CMAKE_CXX_STANDARD 17)
set(CMAKE_C_FLAGS_RELEASE "-O3")
set(CMAKE_RUNTIME_OUTPUT_DIRECTORY ${PROJECT_BINARY_DIR}/bin)

set(packspan_warnings -Wall -Wextra -Wshadow -Wconversion -Wpedantic -Werror)
# errno and floating-point exceptions are not read, which lets loops with sqrt and selections
# vectorise and changes no value.
add_compile_options(-ffp-contract=off -fno-math-errno -fno-trapping-math ${packspan_warnings}
                    $<$<COMPILE_LANGUAGE:C>:-Wstrict-prototypes>)
add_compile_definitions(_GNU_SOURCE)

if(PACKSPAN_ONE_SET OR PACKSPAN_SANITIZE)
    add_compile_definitions(PACKSPAN_ONE_SET)
endif()
if(PACKSPAN_SANITIZE)
    add_compile_options(-fsanitize=address,undefined -fno-sanitize-recover=all
                        -fno-omit-frame-pointer -g -O1)
    add_link_options(-fsanitize=address,undefined)
endif()
