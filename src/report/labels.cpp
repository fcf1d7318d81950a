#include "hushtrace/report/labels.hpp"

#include <algorithm>
#include <numeric>

namespace hushtrace {
namespace {

struct Span {
    double left, right;
};

bool is_free(const std::vector<Span>& taken, Span wanted, double gap_px) {
    return std::none_of(taken.begin(), taken.end(), [&](const Span& one) {
        return wanted.left < one.right + gap_px && one.left < wanted.right + gap_px;
    });
}

}  // namespace

std::vector<LabelPlace> stair_labels(const std::vector<LabelRequest>& requests, double left_px, double right_px, std::size_t rows, double gap_px) {
    std::vector<std::size_t> order(requests.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return requests[a].anchor_px > requests[b].anchor_px; });
    std::vector<std::vector<Span>> taken(rows);
    std::vector<LabelPlace> placed;
    for (const std::size_t i : order) {
        const double anchor = requests[i].anchor_px, width = requests[i].width_px;
        const bool reads_right = anchor + width <= right_px;
        const Span box = reads_right ? Span{anchor, anchor + width} : Span{anchor - width, anchor};
        if (box.left < left_px || box.right > right_px) continue;
        for (std::size_t row = 0; row < rows; ++row) {
            if (row > 0 && !is_free(taken[row - 1], {anchor, anchor}, gap_px)) break;
            if (!is_free(taken[row], box, gap_px)) continue;
            taken[row].push_back(box);
            for (std::size_t below = 0; below < row; ++below) taken[below].push_back({anchor, anchor});
            placed.push_back({i, row, box.left, box.right, reads_right});
            break;
        }
    }
    return placed;
}

double text_width_px(std::size_t columns, double font_px) {
    return 0.62 * font_px * static_cast<double>(columns);
}

std::vector<LabelPlace> place_labels(const std::vector<LabelRequest>& requests, double left_px,
                                     double right_px, std::size_t rows, double gap_px) {
    std::vector<std::vector<Span>> taken(rows);  // boxes, and the lines that come down through a row
    std::vector<LabelPlace> placed;
    for (std::size_t i = 0; i < requests.size(); ++i) {
        const LabelRequest& wish = requests[i];
        bool done = false;
        for (std::size_t row = 0; row < rows && !done; ++row) {
            if (row > 0 && !is_free(taken[row - 1], {wish.anchor_px, wish.anchor_px}, gap_px)) break;
            for (const bool reads_right : {true, false}) {
                const Span box = reads_right ? Span{wish.anchor_px, wish.anchor_px + wish.width_px}
                                             : Span{wish.anchor_px - wish.width_px, wish.anchor_px};
                if (box.left < left_px || box.right > right_px || !is_free(taken[row], box, gap_px)) continue;
                taken[row].push_back(box);
                for (std::size_t below = 0; below < row; ++below)
                    taken[below].push_back({wish.anchor_px, wish.anchor_px});
                placed.push_back({i, row, box.left, box.right, reads_right});
                done = true;
                break;
            }
        }
    }
    return placed;
}

}  // namespace hushtrace
