// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

namespace ringwall::report {

/// page.html and table.html of this folder, put into the program when it is built.
std::string_view page_template();
std::string_view table_template();

} // namespace ringwall::report
