// The events of one submission or of several, in turn. Those of another are added without moving
// any of them, however many. Not thread-safe.
#pragma once

#include <algorithm>
#include <cstddef>
#include <initializer_list>
#include <iterator>
#include <utility>
#include <vector>

#include "base/ids.h"
#include "orders/event.h"

namespace plumblane {

struct OrderEvent {
  OrderKey order;
  Event event;
  bool operator==(const OrderEvent&) const = default;
};

class EventList {
 public:
  using value_type = OrderEvent;
  class const_iterator {
   public:
    using value_type = OrderEvent;
    using difference_type = std::ptrdiff_t;

    const_iterator() = default;
    const OrderEvent& operator*() const { return (*piece_)[at_]; }
    const OrderEvent* operator->() const { return &**this; }
    const_iterator& operator++() {
      if (++at_ == piece_->size()) ++piece_, at_ = 0;
      return *this;
    }
    const_iterator operator++(int) {
      const const_iterator before = *this;
      ++*this;
      return before;
    }
    bool operator==(const const_iterator&) const = default;

   private:
    friend class EventList;
    using Piece = std::vector<std::vector<OrderEvent>>::const_iterator;
    explicit const_iterator(Piece piece) : piece_(piece) {}
    Piece piece_;
    size_t at_ = 0;
  };

  EventList() = default;
  EventList(std::vector<OrderEvent> events) {  // NOLINT: they are a list of events
    if (!events.empty()) pieces_.push_back(std::move(events));
  }
  EventList(std::initializer_list<OrderEvent> events)
      : EventList(std::vector<OrderEvent>(events)) {}

  void push_back(OrderEvent event) {
    if (pieces_.empty()) pieces_.emplace_back();
    pieces_.back().push_back(std::move(event));
  }
  // `other` is empty afterwards.
  void Append(EventList&& other) {
    pieces_.insert(pieces_.end(), std::make_move_iterator(other.pieces_.begin()),
                   std::make_move_iterator(other.pieces_.end()));
    other.pieces_.clear();
  }

  // Takes the time to count the pieces.
  size_t size() const {
    size_t all = 0;
    for (const auto& piece : pieces_) all += piece.size();
    return all;
  }
  bool empty() const { return pieces_.empty(); }
  const_iterator begin() const { return const_iterator(pieces_.begin()); }
  const_iterator end() const { return const_iterator(pieces_.end()); }
  bool operator==(const EventList& other) const {
    return size() == other.size() && std::equal(begin(), end(), other.begin());
  }

 private:
  std::vector<std::vector<OrderEvent>> pieces_;  // none is empty
};

}  // namespace plumblane
