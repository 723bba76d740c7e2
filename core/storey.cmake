# SPDX-License-Identifier: MIT
# A folder of core/ or app/ as a library that can include only what it is built on.
#
#   espalier_storey(core merge ON git tree)      # core/merge, which may include "core/git/…" and "core/tree/…"
#
# Each storey has an include folder of its own in which nothing but a link to its headers stands, so that the compiler
# finds a header only through the storeys that a target links.

# espalier_storey(HOUSE NAME [ON STOREY…] [LIBRARIES TARGET…]): ON names storeys of the same house.
function(espalier_storey house name)
  cmake_parse_arguments(arg "" "" "ON;LIBRARIES" ${ARGN})
  set(target espalier_${house}_${name})
  file(GLOB_RECURSE sources CONFIGURE_DEPENDS ${name}/*.cpp ${name}/*.h)
  add_library(${target} STATIC ${sources})
  set(seen ${CMAKE_BINARY_DIR}/storeys/${house}_${name})
  file(MAKE_DIRECTORY ${seen}/${house})
  file(CREATE_LINK ${CMAKE_CURRENT_SOURCE_DIR}/${name} ${seen}/${house}/${name} SYMBOLIC)
  target_include_directories(${target} PUBLIC ${seen})
  list(TRANSFORM arg_ON PREPEND espalier_${house}_)
  target_link_libraries(${target} PUBLIC ${arg_ON} ${arg_LIBRARIES})
  set_property(GLOBAL APPEND PROPERTY espalier_${house}_storeys ${target})
  cmake_language(CALL espalier_${house}_settings ${target})
endfunction()

# What all of core is built with. The precompiled header is made once, by the lowest storey.
function(espalier_core_settings target)
  set_target_properties(${target} PROPERTIES AUTOMOC OFF AUTORCC OFF)
  target_link_libraries(${target} PUBLIC espalier_options Threads::Threads
                                  PRIVATE PkgConfig::LIBGIT2 ZLIB::ZLIB PkgConfig::LIBDEFLATE OpenSSL::Crypto
                                          nlohmann_json::nlohmann_json)
  if(target STREQUAL espalier_core_git)
    target_precompile_headers(${target} PRIVATE
      <algorithm> <array> <cstdint> <expected> <functional> <map> <memory> <optional> <span> <stop_token> <string>
      <string_view> <unordered_map> <utility> <vector>)
  else()
    target_precompile_headers(${target} REUSE_FROM espalier_core_git)
  endif()
endfunction()

# What all of app is built with, but for the commands, which know no Qt.
function(espalier_app_settings target)
  target_link_libraries(${target} PUBLIC espalier_core)
  if(target STREQUAL espalier_app_commands)
    set_target_properties(${target} PROPERTIES AUTOMOC OFF AUTORCC OFF)
    target_link_libraries(${target} PRIVATE nlohmann_json::nlohmann_json)
    target_precompile_headers(${target} REUSE_FROM espalier_core_git)
    return()
  endif()
  target_link_libraries(${target} PUBLIC Qt6::Core Qt6::Gui Qt6::Widgets Qt6::Svg
                                         KF6::SyntaxHighlighting)
  # No implicit conversion from bytes: text out of a repository goes through support/text.h, which says how.
  target_compile_definitions(${target} PUBLIC QT_NO_CAST_FROM_BYTEARRAY QT_NO_CAST_TO_ASCII QT_NO_KEYWORDS)
  if(target STREQUAL espalier_app_support)
    target_precompile_headers(${target} PRIVATE
      <algorithm> <cstdint> <expected> <functional> <memory> <optional> <string> <vector>
      <QtCore/QtCore> <QtGui/QPainter> <QtWidgets/QtWidgets>)
  else()
    target_precompile_headers(${target} REUSE_FROM espalier_app_support)
  endif()
endfunction()
